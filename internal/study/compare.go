package study

import (
	"context"
	"fmt"
	"slices"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
)

// Question is a before/after question.
type Question struct {
	Before, After string // setups
	Metric        dust.Channel
	Sensor        string // "" chooses the breathing-zone sensor, else the one in the room
	Window        Window
}

// companions are the channels that a comparison shows beside its metric: the
// coarser mass for "fine or only chips?", and whatever sizes the sensor counts.
var companions = []dust.Channel{
	dust.PM1, dust.PM25, dust.PM4, dust.PM10,
	dust.N03, dust.N05, dust.N10, dust.N25, dust.N50, dust.N100,
	dust.NPM05, dust.NPM1, dust.NPM25, dust.NPM4, dust.NPM10,
}

// Compare asks whether a change of setup changed the dust.
func (s *Study) Compare(ctx context.Context, q Question) (compare.Result, error) {
	sensor, err := s.Compared(q.Sensor)
	if err != nil {
		return compare.Result{}, err
	}
	in := compare.Input{
		Before: q.Before, After: q.After, Metric: q.Metric, Setups: s.setups,
		Zone: s.settings.Zone, SmallestChangePercent: s.settings.SmallestChange,
	}
	channels := companions
	if !slices.Contains(channels, q.Metric) {
		channels = append([]dust.Channel{q.Metric}, channels...)
	}
	measured, err := s.series(ctx, sensor, channels, q.Window)
	if err != nil {
		return compare.Result{}, err
	}
	for _, c := range channels {
		if measured[c] != nil {
			in.Series = append(in.Series, measured[c])
		}
	}
	if measured[q.Metric] == nil {
		return compare.Result{}, fmt.Errorf("sensor %q: %w of %s in the time asked about", sensor.Name, dust.ErrNoReadings, q.Metric.Label())
	}
	if background := s.at(dust.Background); len(background) > 0 && background[0].Name != sensor.Name {
		in.BackgroundByChannel, err = s.series(ctx, background[0], channels, q.Window)
		if err != nil {
			return compare.Result{}, err
		}
		in.Background = in.BackgroundByChannel[q.Metric]
	}
	if in.Tasks, err = s.records.Tasks(ctx, q.Window.From, q.Window.To); err != nil {
		return compare.Result{}, err
	}
	return compare.Compare(in)
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
