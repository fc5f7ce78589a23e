package study

import (
	"context"
	"fmt"
	"slices"
	"time"

	"dustlog/internal/calibrate"
	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Question is a before/after question.
type Question struct {
	Before, After string   // setups
	Setups        []string // in place of the two: each is held against the first
	Metric        dust.Channel
	Sensor        string // "" chooses the breathing-zone sensor, else the one in the room
	Window        Window

	// See compare.Input.
	// Zero takes the drift from the calibration record, if that knows it.
	DriftU, DriftDF float64
	Level           float64
	ClearanceWindow compare.ClearanceWindow
	PlanSeed        uint64
	// Airflow asks for what was read off the collector beside the ratio.
	Airflow bool
}

// companions are the channels that a comparison shows beside its metric: the
// coarser mass for "fine or only chips?", whatever sizes the sensor counts, and
// the weather.
var companions = []dust.Channel{
	dust.PM1, dust.PM25, dust.PM4, dust.PM10,
	dust.N03, dust.N05, dust.N10, dust.N25, dust.N50, dust.N100,
	dust.NPM05, dust.NPM1, dust.NPM25, dust.NPM4, dust.NPM10,
	dust.Humidity, dust.Temperature,
}

// Compare asks whether a change of setup changed the dust.
func (s *Study) Compare(ctx context.Context, q Question) (compare.Result, error) {
	in, err := s.comparison(ctx, q)
	if err != nil {
		return compare.Result{}, err
	}
	if len(q.Setups) > 0 {
		return compare.CompareSeveral(in, q.Setups)
	}
	return compare.Compare(in)
}

// Spread asks how much sessions under one setup, q.Before, differ.
func (s *Study) Spread(ctx context.Context, q Question) (compare.Spread, error) {
	in, err := s.comparison(ctx, q)
	if err != nil {
		return compare.Spread{}, err
	}
	return compare.SpreadOf(in)
}

// comparison fetches what a comparison needs.
func (s *Study) comparison(ctx context.Context, q Question) (compare.Input, error) {
	in := compare.Input{
		Before: q.Before, After: q.After, Metric: q.Metric, Setups: s.setups,
		Zone: s.settings.Zone, SmallestChangePercent: s.settings.SmallestChange,
		DriftU: q.DriftU, DriftDF: q.DriftDF, Level: q.Level, ClearanceWindow: q.ClearanceWindow, PlanSeed: q.PlanSeed,
	}
	sensor, err := s.Compared(q.Sensor)
	if err != nil {
		return in, err
	}
	channels := companions
	if !slices.Contains(channels, q.Metric) {
		channels = append([]dust.Channel{q.Metric}, channels...)
	}
	measured, err := s.series(ctx, sensor, channels, q.Window)
	if err != nil {
		return in, err
	}
	for _, c := range channels {
		if measured[c] != nil {
			in.Series = append(in.Series, measured[c])
		}
	}
	if measured[q.Metric] == nil {
		return in, fmt.Errorf("sensor %q: %w of %s in the time asked about", sensor.Name, dust.ErrNoReadings, q.Metric.Label())
	}
	if background := s.at(dust.Background); len(background) > 0 && background[0].Name != sensor.Name {
		in.BackgroundByChannel, err = s.series(ctx, background[0], channels, q.Window)
		if err != nil {
			return in, err
		}
		in.Background = in.BackgroundByChannel[q.Metric]
	}
	if outlet := s.at(dust.Exhaust); len(outlet) > 0 && outlet[0].Name != sensor.Name {
		if in.Exhaust, err = s.Series(ctx, outlet[0], q.Metric, q.Window); err != nil {
			return in, err
		}
	}
	if in.Tasks, err = s.records.Tasks(ctx, q.Window.From, q.Window.To); err != nil {
		return in, err
	}
	if q.Airflow {
		if in.Collector, err = s.collectorStates(ctx, q.Window); err != nil {
			return in, err
		}
	}
	if in.Notes, err = s.notes(ctx, q.Window); err != nil || q.DriftU > 0 {
		return in, err
	}
	return in, s.recordedDrift(&in, sensor)
}

// recordedDrift takes the sensor's drift over the study from collocations made
// before and after it.
func (s *Study) recordedDrift(in *compare.Input, sensor dust.Sensor) error {
	var from, to time.Time
	for _, t := range in.Tasks {
		if from.IsZero() || t.Start.Before(from) {
			from = t.Start
		}
		for _, at := range []time.Time{t.Start, t.Stop} {
			if at.After(to) {
				to = at
			}
		}
	}
	d, ids, ok, err := calibrate.DriftOver(s.calibrations, sensor.Name, in.Metric.Metric(), from, to)
	if err != nil || !ok {
		return err
	}
	in.DriftU, in.DriftDF = d.U, d.DF
	in.DriftSource = words.Of("from calibrations %d and %d: %s and %s side by side before and after", ids[0], ids[1], d.Reference, d.Sensor)
	return nil
}

// noted is what Records may offer besides: what was entered by a tap, remarks
// among it.
type noted interface {
	Entries(ctx context.Context, from, to time.Time) ([]dust.Entered, error)
}

// notes lists the diary's remarks that stand.
func (s *Study) notes(ctx context.Context, w Window) (out []compare.Note, err error) {
	records, ok := s.records.(noted)
	if !ok {
		return nil, nil
	}
	entries, err := records.Entries(ctx, w.From, w.To)
	for _, e := range entries {
		if e.Kind == dust.NoteEntry && e.Stands() {
			out = append(out, compare.Note{At: e.At, Text: e.Text})
		}
	}
	return out, err
}

// Compared finds a sensor by name; with no name it chooses the one that speaks
// for what is breathed.
func (s *Study) Compared(name string) (dust.Sensor, error) {
	if name != "" {
		return s.Sensor(name)
	}
	for _, p := range []dust.Position{dust.BreathingZone, dust.Room} {
		switch found := s.at(p); len(found) {
		case 0:
		case 1:
			return found[0], nil
		default:
			return dust.Sensor{}, fmt.Errorf("%w: %d sensors sit at %s; choose one with --sensor", dust.ErrUnknownSensor, len(found), p.Label())
		}
	}
	return dust.Sensor{}, fmt.Errorf("%w: none sits in the breathing zone or the room; choose one with --sensor", dust.ErrUnknownSensor)
}
