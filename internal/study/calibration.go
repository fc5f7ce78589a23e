package study

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// loadCalibrations reads what is on record and joins its factors to those of the
// settings.
func (s *Study) loadCalibrations(ctx context.Context) (err error) {
	if s.calibrations, err = s.records.Calibrations(ctx); err != nil {
		return err
	}
	recorded, err := calibrate.Factors(s.calibrations, s.settings.Zone)
	if err != nil {
		return err
	}
	s.factors = map[string][]exposure.Factor{}
	for _, from := range []map[string][]exposure.Factor{recorded, s.settings.Factors} {
		for sensor, factors := range from {
			s.factors[sensor] = append(s.factors[sensor], factors...)
		}
	}
	return nil
}

// Calibrations lists what is on record, retired ones included.
func (s *Study) Calibrations() []dust.Calibration { return s.calibrations }

// OnlySensor finds a sensor by name; with no name, the only one there is.
func (s *Study) OnlySensor(name string) (dust.Sensor, error) {
	if name == "" && len(s.sensors) == 1 {
		return s.sensors[0], nil
	}
	if name == "" {
		var names []string
		for _, sensor := range s.sensors {
			names = append(names, sensor.Name)
		}
		return dust.Sensor{}, fmt.Errorf("%w: give --sensor, one of %s", dust.ErrUnknownSensor, strings.Join(names, ", "))
	}
	return s.Sensor(name)
}

// needed is a stretch of time with both its ends.
func (w Window) needed() error {
	if w.From.IsZero() || !w.To.After(w.From) {
		return fmt.Errorf("a calibration needs its begin and end: give both with --from and --to")
	}
	return nil
}

// CheckZero works out a zero check of a sensor that stood in filtered air, and
// its drift since the one before.
func (s *Study) CheckZero(ctx context.Context, sensor dust.Sensor, metric dust.Channel, w Window) (calibrate.ZeroCheck, error) {
	series, err := s.masses(ctx, sensor, metric, w)
	if err != nil {
		return calibrate.ZeroCheck{}, err
	}
	z, err := calibrate.CheckZero(series, w.From, w.To)
	if err != nil {
		return z, err
	}
	before, id, ok, err := calibrate.LastZero(s.calibrations, sensor.Name, z.Metric, w.From)
	if ok {
		z.Compare(before, id)
	}
	return z, err
}

// masses fetches a sensor's mass readings for a calibration.
func (s *Study) masses(ctx context.Context, sensor dust.Sensor, metric dust.Channel, w Window) (*dust.Series, error) {
	if err := w.needed(); err != nil {
		return nil, err
	}
	series, err := s.Series(ctx, sensor, metric, w)
	if err == nil && series.Len() == 0 {
		err = fmt.Errorf("sensor %q: %w of %s in the time asked about", sensor.Name, dust.ErrNoReadings, metric.Label())
	}
	return series, err
}

// Collocate compares sensors that stood side by side, the first being the
// reference, and tells how they moved apart since the collocation before, whose
// number is since; 0 if there is none.
func (s *Study) Collocate(ctx context.Context, sensors []dust.Sensor, metric dust.Channel, w Window, o calibrate.CollocationOptions) (c calibrate.Collocation, drifts []calibrate.Drift, since int64, err error) {
	var beside []calibrate.Beside
	for _, sensor := range sensors {
		mass, err := s.masses(ctx, sensor, metric, w)
		if err != nil {
			return c, nil, 0, err
		}
		air, err := s.series(ctx, sensor, []dust.Channel{dust.Humidity, dust.Temperature}, w)
		if err != nil {
			return c, nil, 0, err
		}
		beside = append(beside, calibrate.Beside{Mass: mass, Humidity: air[dust.Humidity], Temperature: air[dust.Temperature]})
	}
	if c, err = calibrate.Collocate(beside, w.From, w.To, o); err != nil {
		return c, nil, 0, err
	}
	drifts, since, err = calibrate.DriftSince(s.calibrations, c)
	return c, drifts, since, err
}

// PairFilter works out a filter sample and what the sensor beside it read, less
// the zero of its last zero check.
func (s *Study) PairFilter(ctx context.Context, sensor dust.Sensor, metric dust.Channel, in calibrate.FilterInput) (calibrate.FilterSample, error) {
	sample, err := calibrate.WeighFilter(in)
	if err != nil {
		return sample, err
	}
	series, err := s.masses(ctx, sensor, metric, Window{in.From, in.To})
	if err != nil {
		return sample, err
	}
	beside := calibrate.SensorBeside{Metric: series.Channel.Metric(), SensorMean: calibrate.MeanOf(series, in.From, in.To)}
	zero, id, ok, err := calibrate.LastZero(s.calibrations, sensor.Name, beside.Metric, in.To)
	if err != nil {
		return sample, err
	}
	if ok {
		beside.ZeroID, beside.Zero, beside.Floor = id, zero.Mean, zero.Floor
	}
	sample.PairWith(beside)
	return sample, nil
}

// Diary names the material and the task of a stretch of time, where the diary
// names one only.
func (s *Study) Diary(ctx context.Context, w Window) (material, task string, err error) {
	tasks, err := s.records.Tasks(ctx, w.From, w.To)
	if err != nil {
		return "", "", err
	}
	materials, names := map[string]bool{}, map[string]bool{}
	for _, t := range tasks {
		materials[strings.TrimSpace(t.Material)], names[t.Name] = true, true
	}
	if len(materials) == 1 {
		material = slices.Collect(maps.Keys(materials))[0]
	}
	if len(names) == 1 {
		task = slices.Collect(maps.Keys(names))[0]
	}
	return material, task, nil
}

// addHumidity sets, for sensors whose dust takes up water, what a correction
// would make of each shift. Only such shifts are read again.
func (s *Study) addHumidity(ctx context.Context, in exposure.Input, r *exposure.Result, metric dust.Channel) error {
	for i := range r.Shifts {
		shift := &r.Shifts[i]
		kappa, ok := s.settings.Kappa[shift.Sensor]
		if !ok {
			continue
		}
		h, err := s.humidity(ctx, in, shift, metric, kappa)
		if err != nil {
			return err
		}
		shift.Humidity = &h
	}
	return nil
}

// longestSpoken is how long before a shift a reading may speak that still does
// when it begins.
const longestSpoken = 5 * time.Minute

func (s *Study) humidity(ctx context.Context, in exposure.Input, shift *exposure.ShiftResult, metric dust.Channel, kappa float64) (exposure.Humidity, error) {
	h := exposure.Humidity{Kappa: kappa}
	sensor, err := s.Sensor(shift.Sensor)
	if err != nil {
		return h, err
	}
	w := Window{shift.Start.Add(-longestSpoken), shift.End}
	got, err := s.series(ctx, sensor, []dust.Channel{metric, dust.Humidity}, w)
	switch {
	case err != nil:
		return h, err
	case got[metric] == nil:
		h.Why = words.Of("no reading")
		return h, nil
	case got[dust.Humidity] == nil:
		h.Why = words.Of("the sensor sends no relative humidity")
		return h, nil
	}
	dry, err := calibrate.Dry(got[metric], got[dust.Humidity], kappa)
	if err != nil {
		return h, err
	}
	n := float64(dry.Series.Len())
	h.Corrected, h.Unknown, h.TooHumid = float64(dry.Corrected)/n, float64(dry.Unknown)/n, float64(dry.TooHumid)/n
	for _, v := range []struct {
		series *dust.Series
		into   **float64
	}{{got[metric], &h.Without}, {dry.Series, &h.With}} {
		result, err := exposure.Assess(exposure.Input{
			Shifts: []dust.Shift{{Date: shift.Date, Start: shift.Start, End: shift.End}},
			Series: []*dust.Series{v.series}, Limit: in.Limit, DeclaredShift: true,
		})
		if err != nil {
			h.Why = words.OfError(err)
			return h, nil
		}
		*v.into = result.Shifts[0].Limits[0].ComparedMgM3
	}
	return h, nil
}
