package study

import (
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"dustlog/internal/calibrate"
	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// ClearanceCurves is Clearance with the trace that it was worked out from.
func (s *Study) ClearanceCurves(ctx context.Context, q Clearing) (clearance.Result, *clearance.Trace, error) {
	in, err := s.clearingInput(ctx, q)
	if err != nil {
		return clearance.Result{}, nil, err
	}
	r, err := clearance.Analyse(in)
	return r, in.Trace, err
}

// Quarters are a sensor's means over the clock's quarters of an hour.
type Quarters struct {
	Sensor   dust.Sensor
	Channel  dust.Channel
	Zone     *time.Location
	From, To time.Time // midnights
	// Means are those at least 75 % measured, each with the end of its quarter.
	Means []exposure.MeanPoint
}

// Quarters works out the 15-minute means of whole days of a sensor; "" chooses the
// one in the breathing zone, else in the room.
func (s *Study) Quarters(ctx context.Context, name string, metric dust.Channel, w Window) (Quarters, error) {
	q := Quarters{Channel: metric, Zone: s.settings.Zone}
	if q.Zone == nil {
		q.Zone = time.UTC
	}
	var err error
	if q.Sensor, err = s.Compared(name); err != nil {
		return q, err
	}
	midnight := func(t time.Time, days int) time.Time {
		y, m, d := t.In(q.Zone).Date()
		return time.Date(y, m, d+days, 0, 0, 0, 0, q.Zone)
	}
	series, err := s.Series(ctx, q.Sensor, metric, w)
	if err != nil {
		return q, err
	}
	first, last, ok := series.Bounds()
	if !ok {
		return q, fmt.Errorf("sensor %q: %w of %s in the time asked about", q.Sensor.Name, dust.ErrNoReadings, metric.Label())
	}
	q.Channel = series.Channel
	q.From, q.To = midnight(first, 0), midnight(last.Add(-time.Millisecond), 1)
	for day := q.From; day.Before(q.To); day = midnight(day, 1) {
		for _, p := range exposure.Mean15Curve(series, day, midnight(day, 1)) {
			if p.At.Unix()%(15*60) == 0 && !math.IsNaN(p.MgM3) {
				q.Means = append(q.Means, p)
			}
		}
	}
	return q, nil
}

// Days yields one channel of a sensor in columns, one UTC day after the other, so
// that months need little memory. What is yielded is valid until the next.
func (s *Study) Days(ctx context.Context, sensor dust.Sensor, metric dust.Channel, w Window) iter.Seq2[exposure.Columns, error] {
	return func(yield func(exposure.Columns, error) bool) {
		daily, ok := s.records.(Daily)
		if !ok {
			series, err := s.Series(ctx, sensor, metric, w)
			if err != nil {
				yield(exposure.Columns{}, err)
				return
			}
			for c := range daysOfSeries(series) {
				if !yield(c, nil) {
					return
				}
			}
			return
		}
		if second, has := atmospheric[metric]; has && s.settings.Atmospheric {
			any := false
			for c, err := range daily.DailyColumns(ctx, sensor, second, w.From, w.To) {
				any = true
				if !yield(c, err) || err != nil {
					return
				}
			}
			if any {
				return
			}
		}
		for c, err := range daily.DailyColumns(ctx, sensor, metric, w.From, w.To) {
			if !yield(c, err) || err != nil {
				return
			}
		}
	}
}

// daysOfSeries cuts a series into UTC days.
func daysOfSeries(s *dust.Series) iter.Seq[exposure.Columns] {
	return func(yield func(exposure.Columns) bool) {
		ms, value, flags := s.Columns()
		for i := 0; i < len(ms); {
			j, day := i, ms[i]/utcDay.Milliseconds()
			for j < len(ms) && ms[j]/utcDay.Milliseconds() == day {
				j++
			}
			if !yield(exposure.Columns{MS: ms[i:j], Floats: value[i:j], Flags: flags[i:j]}) {
				return
			}
			i = j
		}
	}
}

// SideBySideMeans is a collocation on record with the means its lines were fitted
// to, worked out again from the readings.
type SideBySideMeans struct {
	calibrate.Collocation
	ID    int64                // of the record
	Means map[string][]float64 // by sensor; NaN where there is none
}

// SideBySide finds a collocation on record; 0 takes the newest that may be used.
func (s *Study) SideBySide(ctx context.Context, id int64) (SideBySideMeans, error) {
	var c SideBySideMeans
	record, err := s.record(id, dust.SideBySide)
	if err != nil {
		return c, err
	}
	if c.Collocation, err = calibrate.Read[calibrate.Collocation](record, dust.SideBySide); err != nil {
		return c, err
	}
	c.ID, c.Means = record.ID, map[string][]float64{}
	metric, err := dust.ParseMetric(c.Metric)
	if err != nil {
		return c, err
	}
	names := []string{c.Reference}
	for _, o := range c.Others {
		names = append(names, o.Sensor)
	}
	for _, name := range names {
		sensor, err := s.Sensor(name)
		if err != nil {
			return c, err
		}
		series, err := s.masses(ctx, sensor, metric, Window{c.From, c.To})
		if err != nil {
			return c, err
		}
		c.Means[name] = c.MeansOf(series)
	}
	return c, nil
}

// FactorPairs is a factor on record with the filter samples it was worked out from.
type FactorPairs struct {
	calibrate.Fit
	Record  dust.Calibration
	Samples []calibrate.Pairable
}

// FactorPairs finds a factor on record; 0 takes the newest that may be used.
func (s *Study) FactorPairs(id int64) (FactorPairs, error) {
	var f FactorPairs
	var err error
	if f.Record, err = s.record(id, dust.FactorCalibration); err != nil {
		return f, err
	}
	if f.Fit, err = calibrate.Read[calibrate.Fit](f.Record, dust.FactorCalibration); err != nil {
		return f, err
	}
	for _, c := range s.calibrations {
		if c.Kind != dust.FilterCalibration || !slices.Contains(f.Fit.Samples, c.ID) {
			continue
		}
		sample, err := calibrate.Read[calibrate.FilterSample](c, dust.FilterCalibration)
		if err != nil {
			return f, err
		}
		f.Samples = append(f.Samples, calibrate.Pairable{ID: c.ID, FilterSample: sample})
	}
	return f, nil
}

// record finds a calibration by its number; 0 takes the newest of the kind that was
// not retired.
func (s *Study) record(id int64, kind dust.CalibrationKind) (found dust.Calibration, err error) {
	for _, c := range s.calibrations {
		if c.Kind == kind && (id == c.ID || id == 0 && c.InUse() && c.ID > found.ID) {
			found = c
		}
	}
	if found.ID == 0 {
		if id != 0 {
			return found, fmt.Errorf("%w: number %d of kind %s; `dustlog calibrate list` shows what there is", dust.ErrUnknownCalibration, id, kind)
		}
		return found, fmt.Errorf("%w: none of kind %s; see `dustlog calibrate --help`", dust.ErrUnknownCalibration, kind)
	}
	return found, nil
}
