package calibrate

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Numbers turns a result of this package into what a record keeps.
func Numbers(result any) (string, error) {
	text, err := json.Marshal(result)
	if err != nil {
		return "", fmt.Errorf("numbers of a calibration: %w", err)
	}
	return string(text), nil
}

// Read reads the numbers of a record of the given kind.
func Read[T ZeroCheck | Collocation | FilterSample | Fit](c dust.Calibration, kind dust.CalibrationKind) (result T, err error) {
	if c.Kind != kind {
		return result, fmt.Errorf("calibration %d is of kind %q, not %q", c.ID, c.Kind, kind)
	}
	if err := json.Unmarshal([]byte(c.Numbers), &result); err != nil {
		return result, fmt.Errorf("numbers of calibration %d: %w", c.ID, err)
	}
	if !whole(result) {
		return result, fmt.Errorf("numbers of calibration %d are incomplete: something else than dustlog wrote them", c.ID)
	}
	return result, nil
}

// whole reports whether the parts of a result that must go together do.
func whole(result any) bool {
	switch r := result.(type) {
	case FilterSample:
		known := r.Concentration != nil && r.Uncertainty != nil
		return r.Detected == known && (r.Sensor == nil || r.Sensor.Pair == nil || known) && (r.Detected || r.AtMost != nil)
	case Fit:
		return r.Pairs == len(r.PairFactors) && r.Pairs == len(r.Samples)
	}
	return true
}

// LastZero finds the newest zero check of a sensor's channel that was made up to
// a moment and may be used. ok is false if there is none.
func LastZero(records []dust.Calibration, sensor, metric string, upTo time.Time) (z ZeroCheck, id int64, ok bool, err error) {
	var newest dust.Calibration
	for _, c := range records {
		if c.Kind != dust.ZeroCalibration || c.Sensor != sensor || c.Metric != metric || !c.InUse() || c.To.After(upTo) {
			continue
		}
		check, err := Read[ZeroCheck](c, dust.ZeroCalibration)
		if err != nil {
			return z, 0, false, err
		}
		if check.Enough && (!ok || c.To.After(newest.To) || c.To.Equal(newest.To) && c.ID > newest.ID) {
			z, id, ok, newest = check, c.ID, true, c
		}
	}
	return z, id, ok, nil
}

// Factors turns the factors among the records into what exposure chooses from,
// by sensor. Retired ones are left out.
func Factors(records []dust.Calibration, zone *time.Location) (map[string][]exposure.Factor, error) {
	all := map[string][]exposure.Factor{}
	for _, c := range records {
		if c.Kind != dust.FactorCalibration || !c.InUse() {
			continue
		}
		f, err := Factor(c, zone)
		if err != nil {
			return nil, err
		}
		all[c.Sensor] = append(all[c.Sensor], f)
	}
	return all, nil
}

// Factor turns a record into a factor, with its days in the shop's zone.
func Factor(c dust.Calibration, zone *time.Location) (exposure.Factor, error) {
	fit, err := Read[Fit](c, dust.FactorCalibration)
	if err != nil {
		return exposure.Factor{}, err
	}
	f := exposure.Factor{
		ID: strconv.FormatInt(c.ID, 10), Factor: fit.Factor, Fraction: fit.Fraction, Metric: fit.Metric,
		SpreadPercent: fit.SpreadPercent, UncertaintyPercent: fit.UncertaintyPercent, Pairs: fit.Pairs,
		Source: fmt.Sprintf("%s, %d pairs", fit.Source, fit.Pairs), Date: day(c.To, zone), ValidFrom: day(c.Valid, zone), Expires: day(c.Expires, zone),
		Material: c.Material, Task: c.Task, Season: c.Season, ZeroMgM3: fit.Zero / 1000,
	}
	if !fit.Usable {
		f.Unusable = fit.Why
	}
	return f, nil
}

func day(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone).Format(time.DateOnly)
}

// DriftSince compares a collocation with the newest earlier one of the same
// sensors and channel: one Drift for each sensor beside the reference that has a
// line in both. id is 0 if there is none to compare with.
func DriftSince(records []dust.Calibration, now Collocation) (drifts []Drift, id int64, err error) {
	var before Collocation
	for _, c := range records {
		if c.Kind != dust.SideBySide || !c.InUse() || !c.To.Before(now.From) && !c.To.Equal(now.From) {
			continue
		}
		earlier, err := Read[Collocation](c, dust.SideBySide)
		if err != nil {
			return nil, 0, err
		}
		if earlier.Metric == now.Metric && earlier.Sensors() == now.Sensors() && earlier.Reference == now.Reference &&
			(id == 0 || earlier.To.After(before.To)) {
			before, id = earlier, c.ID
		}
	}
	if id == 0 {
		return nil, 0, nil
	}
	for _, o := range now.Others {
		i := slices.IndexFunc(before.Others, func(p SensorPair) bool { return p.Sensor == o.Sensor })
		if i < 0 || o.Deming == nil || before.Others[i].Deming == nil {
			continue
		}
		d, err := DriftBetween(*before.Others[i].Deming, *o.Deming)
		if err != nil {
			continue // a slope that is no gain was warned of with its line
		}
		d.Sensor, d.Reference = o.Sensor, now.Reference
		drifts = append(drifts, d)
	}
	return drifts, id, nil
}

// DriftOver looks for two collocations of a sensor with the same reference or the
// same other sensor on the same channel, one that ended by from and one that
// began at to or later, and works out the drift between them. The nearest
// ones are taken. ok is false if there are none.
func DriftOver(records []dust.Calibration, sensor, metric string, from, to time.Time) (d Drift, ids [2]int64, ok bool, err error) {
	type linked struct {
		id   int64
		at   time.Time
		pair [2]string // reference, other
		line Line
	}
	var before, after []linked
	for _, c := range records {
		if c.Kind != dust.SideBySide || c.Metric != metric || !c.InUse() || c.To.After(from) && c.From.Before(to) {
			continue
		}
		beside, err := Read[Collocation](c, dust.SideBySide)
		if err != nil {
			return d, ids, false, err
		}
		for _, o := range beside.Others {
			if o.Deming == nil || o.Sensor != sensor && beside.Reference != sensor {
				continue
			}
			l := linked{c.ID, c.To, [2]string{beside.Reference, o.Sensor}, *o.Deming}
			if c.To.After(from) {
				after = append(after, l)
			} else {
				before = append(before, l)
			}
		}
	}
	slices.SortStableFunc(before, func(a, b linked) int { return b.at.Compare(a.at) })
	slices.SortStableFunc(after, func(a, b linked) int { return a.at.Compare(b.at) })
	for _, b := range before {
		for _, a := range after {
			if a.pair != b.pair {
				continue
			}
			d, err := DriftBetween(b.line, a.line)
			if err != nil {
				continue // a slope that is no gain was warned of with its line
			}
			d.Reference, d.Sensor = b.pair[0], b.pair[1]
			return d, [2]int64{b.id, a.id}, true, nil
		}
	}
	return d, ids, false, nil
}

// SameDust reports whether two names of materials, tasks or the like mean the
// same: case and blanks around do not matter.
func SameDust(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }
