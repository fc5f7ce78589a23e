package efficiency

import (
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// Side is what one sensor measured during one run, by channel.
type Side map[dust.Channel]Level

// Level is a mean over the measured part of a run.
type Level struct {
	Mean             float64 // in the channel's unit
	Seconds          float64 // measured
	SaturatedSeconds float64 // of these at the top of the sensor's range
	Length           float64 // of the run, s
}

// Measure takes the mean of a series over [from, to).
func Measure(s *dust.Series, from, to time.Time) Level {
	l := Level{Length: to.Sub(from).Seconds()}
	var dose float64
	for p := range s.Spans(from, to) {
		if p.Unusable() != "" {
			continue
		}
		l.Seconds += p.Seconds()
		dose += p.Value * p.Seconds()
		if p.Flags.Has(dust.Saturated) {
			l.SaturatedSeconds += p.Seconds()
		}
	}
	if l.Seconds > 0 {
		l.Mean = dose / l.Seconds
	}
	return l
}

// Recorded is one run, or one zero check in air without particles.
type Recorded struct {
	Task      dust.Task
	Setup     string
	Exchanged bool // the sensors had changed places
	// Up and Down are what was read before and behind the filter, whichever sensor
	// sat there.
	Up, Down Side
}

// Input is what Analyse works on.
type Input struct {
	Upstream, Downstream dust.Sensor
	Runs                 []Recorded
	Zero                 []Recorded // both sensors in filtered air
	Zone                 *time.Location
	// SampleFlow is the air that each sensor looks at, in cm³/s; 0: not known. With
	// it counts are known, and so the limits of one run and of nothing counted.
	SampleFlow float64
	DuctFlow   float64 // m³/h through the filter; 0: not known
}

func (in Input) check() error {
	if !(in.SampleFlow >= 0 && in.DuctFlow >= 0) || !finite(in.SampleFlow) || !finite(in.DuctFlow) {
		return fmt.Errorf("efficiency: sample flow %g cm³/s, duct flow %g m³/h: %w, both must be above zero", in.SampleFlow, in.DuctFlow, ErrBadInput)
	}
	if in.Upstream.Name == in.Downstream.Name {
		return fmt.Errorf("efficiency: the sensor before and behind the filter is %q both times: name two", in.Upstream.Name)
	}
	if len(in.Runs) == 0 {
		return fmt.Errorf("efficiency: %w: the diary holds no finished task here, and a task is a run", ErrTooFew)
	}
	return nil
}

// Rules for a run, as for every comparison of runs (statistics practice, no
// published source).
const (
	enoughOfRun   = 0.75
	mostSaturated = 0.01
)

// against says what keeps a level from being used; "" if nothing does.
func (l Level) against() string {
	switch {
	case l.Seconds == 0:
		return "nothing was measured"
	case l.Seconds < enoughOfRun*l.Length:
		return fmt.Sprintf("only %.0f %% of the run was measured", 100*l.Seconds/l.Length)
	case l.SaturatedSeconds > mostSaturated*l.Seconds:
		return fmt.Sprintf("%.0f %% of the run was at the top of the sensor's range, where particles hide each other", 100*l.SaturatedSeconds/l.Seconds)
	}
	return ""
}

// of is one side's quantity. why is "" if it can be used.
func (q quantity) of(s Side) (l Level, why string) {
	l = s[q.plus]
	if why = l.against(); why != "" || !q.differs {
		return l, why
	}
	minus := s[q.minus]
	l.Mean = max(l.Mean-minus.Mean, 0) // two channels of the same readings
	return l, minus.against()
}
