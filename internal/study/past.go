package study

import (
	"context"
	"slices"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/words"
)

// Cleared is how dust leaves the air at one sensor, with what pictures of it need.
type Cleared struct {
	clearance.Result
	Trace *clearance.Trace
	Falls []ClearedFall // one for each setup that has a decay that counts
}

// ClearedFall is the decay from the dustiest end of work under one setup, and when it
// is back at the level without work.
type ClearedFall struct {
	Decay clearance.Decay
	Back  *float64           // µg/m³ at or below which it counts as back; nil if not known
	Until *clearance.ToLevel // by this decay; nil if that cannot be told
}

// Cleared works out the clearance at every sensor where someone breathes. Sensors
// without a reading are left out.
func (s *Study) Cleared(ctx context.Context, w Window) ([]Cleared, error) {
	tasks, err := s.records.Tasks(ctx, w.From, w.To)
	if err != nil {
		return nil, err
	}
	in := clearance.Input{Setups: s.setups, Zone: s.settings.Zone, Tasks: tasks}
	if background := s.at(dust.Background); len(background) > 0 {
		if in.Background, err = s.clearanceTrace(ctx, background[0], respiratorMetric, w); err != nil {
			return nil, err
		}
		if in.Background.Len() == 0 {
			in.Background = nil
		}
	}
	var out []Cleared
	for _, watched := range respirator.Watch(s.sensors, s.settings.Atmospheric) {
		c := Cleared{}
		if c.Trace, err = s.clearanceTrace(ctx, watched.Sensor, respiratorMetric, w); err != nil {
			return nil, err
		}
		if c.Trace.Len() == 0 {
			continue
		}
		in.Trace = c.Trace
		if c.Result, err = clearance.Analyse(in); err != nil {
			return nil, err
		}
		c.Falls = dustiestFalls(c.Result)
		out = append(out, c)
	}
	return out, nil
}

func dustiestFalls(r clearance.Result) (out []ClearedFall) {
	for _, setup := range r.Setups {
		var f ClearedFall
		for _, d := range r.Decays {
			if d.Pooled && d.Setup == setup.Setup && d.C0 != nil && (f.Decay.C0 == nil || *d.C0 > *f.Decay.C0) {
				f.Decay = d
			}
		}
		if f.Decay.C0 == nil {
			continue
		}
		f.Back = clearingOf(r, setup, "").Back
		if f.Back != nil {
			if until, err := f.Decay.Until(*f.Back); err == nil {
				f.Until = &until
			}
		}
		out = append(out, f)
	}
	return out
}

// PastRespirator is what past days answer of the respirator question: task by task,
// and how long after work. RespiratorAnswer has what is now beside it.
type PastRespirator struct {
	Setup    string                  `json:"setup"` // in use at the end of the time asked about; "" if none was declared
	Tasks    []RespiratorTask        `json:"tasks"`
	Clearing []RespiratorClearing    `json:"after_work"`
	Stricter []respirator.Stricter   `json:"stricter_recommendations"`
	Factors  RespiratorFactorsSource `json:"protection_factors"`
	Cautions []respirator.Caution    `json:"cautions"`
	Method   words.Text              `json:"method"`
}

// PastRespirator answers from results that are known already, as of a moment.
func (s *Study) PastRespirator(r exposure.Result, cleared []Cleared, at time.Time) (PastRespirator, error) {
	published, err := respirator.Published()
	if err != nil {
		return PastRespirator{}, err
	}
	known := learned{exposure: r}
	for _, c := range cleared {
		known.cleared = append(known.cleared, c.Result)
	}
	a := PastRespirator{
		Setup: dust.SetupAt(s.setups, at), Tasks: []RespiratorTask{}, Stricter: published.Stricter,
		Factors: RespiratorFactorsSource{published.AsOf, published.Elsewhere}, Method: respiratorMethod(),
	}
	a.Clearing = known.after(a.Setup)
	for _, m := range r.Masks {
		a.Tasks = append(a.Tasks, taskFor(m, a.Setup, published))
	}
	a.Cautions = published.Matter(slices.ContainsFunc(a.Tasks, RespiratorTask.namesClasses), slices.ContainsFunc(a.Tasks, RespiratorTask.whirlsUp))
	return a, nil
}

// CalibrationPictures are the calibrations on record, up to a moment, that have
// something to draw. Readings that are gone leave theirs out.
type CalibrationPictures struct {
	Beside  []SideBySideMeans
	Factors []FactorPairs
}

// CalibrationPictures finds, for each, those of the records that may be used.
func (s *Study) CalibrationPictures(ctx context.Context, upTo time.Time) (p CalibrationPictures, err error) {
	for _, c := range s.calibrations {
		if !c.InUse() || c.To.After(upTo) {
			continue
		}
		switch c.Kind {
		case dust.SideBySide:
			if one, err := s.SideBySide(ctx, c.ID); err == nil {
				p.Beside = append(p.Beside, one)
			} else if ctx.Err() != nil {
				return p, err
			}
		case dust.FactorCalibration:
			one, err := s.FactorPairs(c.ID)
			if err != nil {
				return p, err
			}
			p.Factors = append(p.Factors, one)
		}
	}
	return p, nil
}
