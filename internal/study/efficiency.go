package study

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/efficiency"
)

// Separation asks what a separator or filter holds back.
type Separation struct {
	Upstream, Downstream string // sensors; "" chooses by position
	Task, Setup          string // only these runs; "": all
	Window               Window
	ZeroCheck            string        // task during which both sensors had filtered air
	SwappedAt            []time.Time   // the sensors changed places at each of these
	Delay                time.Duration // the air behind the filter is this much later
	SampleFlow           float64       // cm³/s that a sensor looks at; 0: not known
	DuctFlow             float64       // m³/h; 0: not known
}

// Efficiency compares the sensors before and behind a filter; each task is a run.
func (s *Study) Efficiency(ctx context.Context, q Separation) (efficiency.Result, error) {
	in := efficiency.Input{Zone: s.settings.Zone, SampleFlow: q.SampleFlow, DuctFlow: q.DuctFlow}
	var err error
	if in.Upstream, err = s.placed(q.Upstream, "upstream", dust.Upstream); err != nil {
		return efficiency.Result{}, err
	}
	if in.Downstream, err = s.placed(q.Downstream, "downstream", dust.Downstream, dust.Exhaust); err != nil {
		return efficiency.Result{}, err
	}
	tasks, err := s.records.Tasks(ctx, q.Window.From, q.Window.To)
	if err != nil {
		return efficiency.Result{}, err
	}
	if q.Setup != "" && !slices.Contains(s.SetupsInOrder(), q.Setup) {
		return efficiency.Result{}, fmt.Errorf("%w %q: the diary holds %s", dust.ErrUnknownSetup, q.Setup, quoted(s.SetupsInOrder()))
	}
	for _, task := range tasks {
		zero := q.ZeroCheck != "" && task.Name == q.ZeroCheck
		other := q.Task != "" && task.Name != q.Task || q.Setup != "" && dust.SetupAt(s.setups, task.Start) != q.Setup
		if task.Running() || (other && !zero) {
			continue
		}
		run, err := s.recorded(ctx, q, in, task, !zero && q.exchanged(task))
		switch {
		case err != nil:
			return efficiency.Result{}, err
		case zero:
			in.Zero = append(in.Zero, run)
		default:
			in.Runs = append(in.Runs, run)
		}
	}
	return efficiency.Analyse(in)
}

// placed finds the sensor for one side of the filter.
func (s *Study) placed(name, flag string, positions ...dust.Position) (dust.Sensor, error) {
	if name != "" {
		return s.Sensor(name)
	}
	sensor, err := s.only(positions...)
	if err != nil {
		return sensor, fmt.Errorf("%w, with --%s", err, flag)
	}
	return sensor, nil
}

// exchanged reports whether the sensors had changed places when a task began.
func (q Separation) exchanged(task dust.Task) (yes bool) {
	for _, at := range q.SwappedAt {
		if !task.Start.Before(at) {
			yes = !yes
		}
	}
	return yes
}

// recorded measures one task on both sides, whichever sensor was there then.
func (s *Study) recorded(ctx context.Context, q Separation, in efficiency.Input, task dust.Task, exchanged bool) (run efficiency.Recorded, err error) {
	run = efficiency.Recorded{Task: task, Setup: dust.SetupAt(s.setups, task.Start), Exchanged: exchanged}
	before, behind := in.Upstream, in.Downstream
	if exchanged {
		before, behind = behind, before
	}
	if run.Up, err = s.side(ctx, before, Window{task.Start, task.Stop}); err == nil {
		run.Down, err = s.side(ctx, behind, Window{task.Start.Add(q.Delay), task.Stop.Add(q.Delay)})
	}
	return run, err
}

func (s *Study) side(ctx context.Context, sensor dust.Sensor, w Window) (efficiency.Side, error) {
	series, err := s.series(ctx, sensor, efficiency.Channels(), w)
	if err != nil {
		return nil, err
	}
	side := efficiency.Side{}
	for c, readings := range series {
		side[c] = efficiency.Measure(readings, w.From, w.To)
	}
	return side, nil
}

func quoted(names []string) string {
	if len(names) == 0 {
		return "no setup yet"
	}
	out := make([]string, len(names))
	for i, name := range names {
		out[i] = fmt.Sprintf("%q", name)
	}
	return strings.Join(out, ", ")
}
