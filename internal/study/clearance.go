package study

import (
	"context"
	"fmt"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Clearing asks how fast dust leaves the air after work.
type Clearing struct {
	Metric   dust.Channel
	Sensor   string // "" chooses the room's sensor, else the one in the breathing zone
	Setup    string // "": all
	Window   Window
	Longest  time.Duration // a record is cut after this; 0: clearance.DefaultLongest
	VolumeM3 float64       // 0: not known
	Level    float64       // in the metric's unit; 0: none
	On, Off  string        // setups with an air cleaner on and off; "" if not asked
}

// Clearance finds the decays after the tasks of the window and what they tell.
func (s *Study) Clearance(ctx context.Context, q Clearing) (clearance.Result, error) {
	in, err := s.clearingInput(ctx, q)
	if err != nil {
		return clearance.Result{}, err
	}
	return clearance.Analyse(in)
}

// clearingInput fetches what it takes.
func (s *Study) clearingInput(ctx context.Context, q Clearing) (in clearance.Input, err error) {
	sensor, err := s.clearingSensor(q.Sensor)
	if err != nil {
		return in, err
	}
	in = clearance.Input{
		Setup: q.Setup, Setups: s.setups, Zone: s.settings.Zone, Longest: q.Longest,
		VolumeM3: q.VolumeM3, Level: q.Level, On: q.On, Off: q.Off,
	}
	if in.Trace, err = s.clearanceTrace(ctx, sensor, q.Metric, q.Window); err != nil {
		return in, err
	}
	if in.Trace.Len() == 0 {
		return in, fmt.Errorf("sensor %q: %w of %s in the time asked about that can be used", sensor.Name, dust.ErrNoReadings, q.Metric.Label())
	}
	if background := s.at(dust.Background); len(background) > 0 && background[0].Name != sensor.Name {
		if in.Background, err = s.clearanceTrace(ctx, background[0], q.Metric, q.Window); err != nil {
			return in, err
		}
		if in.Background.Len() == 0 {
			in.Background = nil
		}
	}
	in.Tasks, err = s.records.Tasks(ctx, q.Window.From, q.Window.To)
	return in, err
}

// clearingSensor finds a sensor by name; with no name the one that speaks for the
// room's air.
func (s *Study) clearingSensor(name string) (dust.Sensor, error) {
	if name != "" {
		return s.Sensor(name)
	}
	sensor, err := s.only(dust.Room, dust.BreathingZone)
	if err != nil {
		return sensor, fmt.Errorf("%w, with --sensor", err)
	}
	return sensor, nil
}

// only is the one sensor at the first of some positions where there is any.
func (s *Study) only(positions ...dust.Position) (dust.Sensor, error) {
	for _, p := range positions {
		switch found := s.at(p); len(found) {
		case 0:
		case 1:
			return found[0], nil
		default:
			return dust.Sensor{}, fmt.Errorf("%w: %d sensors sit at %q; name one", dust.ErrUnknownSensor, len(found), p.Label())
		}
	}
	return dust.Sensor{}, fmt.Errorf("%w: no sensor has the position %q; name one", dust.ErrUnknownSensor, positions[0].Label())
}

// clearanceTrace makes means of a sensor's readings, day by day where the records
// offer that, so that a season needs little memory.
func (s *Study) clearanceTrace(ctx context.Context, sensor dust.Sensor, c dust.Channel, w Window) (*clearance.Trace, error) {
	trace := clearance.NewTrace(sensor, c)
	daily, ok := s.records.(Daily)
	if !ok {
		series, err := s.Series(ctx, sensor, c, w)
		if err != nil {
			return nil, err
		}
		trace.Add(series)
		return trace, nil
	}
	if second, has := atmospheric[c]; has && s.settings.Atmospheric {
		if err := addDays(ctx, daily, trace, second, w); err != nil || trace.Len() > 0 {
			return trace, err
		}
	}
	return trace, addDays(ctx, daily, trace, c, w)
}

// addDays adds one UTC day after the other.
func addDays(ctx context.Context, daily Daily, trace *clearance.Trace, c dust.Channel, w Window) error {
	for columns, err := range daily.DailyColumns(ctx, trace.Sensor, c, w.From, w.To) {
		if err != nil {
			return err
		}
		day := dust.NewSeries(trace.Sensor, c)
		for i, ms := range columns.MS {
			if columns.Missing != nil && columns.Missing[i] {
				continue
			}
			if err := day.Append(time.UnixMilli(ms), valueOf(columns, i), columns.Flags[i]); err != nil {
				return err
			}
		}
		day.FitHold()
		trace.Add(day)
	}
	return nil
}

func valueOf(c exposure.Columns, row int) float64 {
	if c.PerUnit == 0 {
		return c.Floats[row]
	}
	return float64(c.Ints[row]) / float64(c.PerUnit)
}
