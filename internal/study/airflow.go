package study

import (
	"context"
	"errors"
	"fmt"
	"math"

	"dustlog/internal/airflow"
	"dustlog/internal/clearance"
	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// ErrNoEntries is where records hold no entries of the diary, as a server's copy does.
var ErrNoEntries = errors.New("readings off the collector are in the shop's own store only, not in a server's copy")

// Airflow tells what the readings off the collector mean, beside the clearance and the
// fine dust by the metric where there are any. It also answers where no sensor was
// ever recorded.
func Airflow(ctx context.Context, records Records, settings Settings, metric dust.Channel, w Window) (airflow.Result, error) {
	s, err := Open(ctx, records, settings)
	switch {
	case err == nil:
		return s.Airflow(ctx, metric, w)
	case !errors.Is(err, dust.ErrNoReadings):
		return airflow.Result{}, err
	}
	setups, err := records.SetupPeriods(ctx)
	if err != nil {
		return airflow.Result{}, err
	}
	r, err := airflowAlone(ctx, records, airflow.Input{Collectors: settings.Collectors, Setups: setups}, w)
	r.Warnings = append(r.Warnings, words.Of("no dust was measured, so nothing can be said of airflow and dust"))
	return r, err
}

// Airflow is the function of that name for an open study.
func (s *Study) Airflow(ctx context.Context, metric dust.Channel, w Window) (airflow.Result, error) {
	in := airflow.Input{Collectors: s.settings.Collectors, Setups: s.setups}
	var warnings []words.Text
	var err error
	if in.Clearances, err = s.clearances(ctx, metric, w); err != nil {
		warnings = append(warnings, words.Of("clearance of the room: %s", words.OfError(err)))
	}
	if in.Sessions, err = s.sessionDust(ctx, metric, w); err != nil {
		warnings = append(warnings, words.Of("fine dust by session: %s", words.OfError(err)))
	}
	if err := ctx.Err(); err != nil {
		return airflow.Result{}, err
	}
	r, err := airflowAlone(ctx, s.records, in, w)
	r.Warnings = append(r.Warnings, warnings...)
	return r, err
}

// airflowAlone adds the readings off the collector.
func airflowAlone(ctx context.Context, records Records, in airflow.Input, w Window) (airflow.Result, error) {
	diary, ok := records.(noted)
	if !ok {
		return airflow.Result{}, ErrNoEntries
	}
	var err error
	if in.Entries, err = diary.Entries(ctx, w.From, w.To); err != nil {
		return airflow.Result{}, err
	}
	return airflow.Analyse(in)
}

// clearances are the measured rates by setup.
func (s *Study) clearances(ctx context.Context, metric dust.Channel, w Window) (map[string]airflow.Clearance, error) {
	result, err := s.Clearance(ctx, Clearing{Metric: metric, Window: w, Longest: clearance.DefaultLongest})
	if err != nil {
		return nil, err
	}
	rates := map[string]airflow.Clearance{}
	for _, c := range result.Setups {
		if c.PerHour != nil {
			rates[c.Setup] = airflow.Clearance{PerHour: c.PerHour, Low: c.Low, High: c.High}
		}
	}
	return rates, nil
}

// sessionDust is the fine dust of each session: with several setups as a ratio to the
// level of the first, at the mix of tasks that both share.
func (s *Study) sessionDust(ctx context.Context, metric dust.Channel, w Window) ([]airflow.SessionDust, error) {
	setups := s.SetupsInOrder()
	if len(setups) == 0 {
		return nil, errors.New("no setup was declared (dustlog setup use)")
	}
	in, err := s.sessionInput(ctx, metric, w)
	if err != nil {
		return nil, err
	}
	in.Before = setups[0]
	others := setups[1:]
	if len(others) == 0 {
		others = []string{""} // it stands alone
	}
	var list []airflow.SessionDust
	for i, other := range others {
		in.After = other
		levels, err := compare.SessionLevels(in)
		if err != nil {
			return nil, fmt.Errorf("%q and %q: %w", setups[0], other, err)
		}
		reference := levelOf(levels, setups[0])
		for _, l := range levels {
			if i == 0 || l.Setup == other {
				list = append(list, airflow.SessionDust{Start: l.Start, Setup: l.Setup, Dust: l.Level / reference})
			}
		}
	}
	return list, nil
}

// levelOf is the geometric mean of a setup's sessions.
func levelOf(levels []compare.SessionLevel, setup string) float64 {
	var sum, n float64
	for _, l := range levels {
		if l.Setup == setup {
			sum += math.Log(l.Level)
			n++
		}
	}
	return math.Exp(sum / n)
}

// sessionInput fetches only what the levels of sessions need.
func (s *Study) sessionInput(ctx context.Context, metric dust.Channel, w Window) (in compare.Input, err error) {
	in = compare.Input{Metric: metric, Setups: s.setups, Zone: s.settings.Zone}
	sensor, err := s.Compared("")
	if err != nil {
		return in, err
	}
	measured, err := s.Series(ctx, sensor, metric, w)
	if err != nil {
		return in, err
	}
	in.Series = []*dust.Series{measured}
	if background := s.at(dust.Background); len(background) > 0 && background[0].Name != sensor.Name {
		if in.Background, err = s.Series(ctx, background[0], metric, w); err != nil {
			return in, err
		}
		if in.Background.Len() == 0 {
			in.Background = nil
		}
	}
	in.Tasks, err = s.records.Tasks(ctx, w.From, w.To)
	return in, err
}

// collectorStates are the latest readings off the collector by setup; none where the
// records hold no entries.
func (s *Study) collectorStates(ctx context.Context, w Window) (map[string]compare.CollectorState, error) {
	r, err := airflowAlone(ctx, s.records, airflow.Input{Collectors: s.settings.Collectors, Setups: s.setups}, w)
	switch {
	case errors.Is(err, ErrNoEntries):
		return nil, nil
	case err != nil:
		return nil, err
	}
	states := map[string]compare.CollectorState{}
	for _, x := range r.Setups {
		if x.Readings == 0 {
			continue
		}
		state := compare.CollectorState{}
		if x.Flow != nil {
			state.Flow, state.FlowLow, state.FlowHigh = &x.Flow.Flow, x.Flow.Low, x.Flow.High
		}
		if x.Static != nil {
			state.Static = &x.Static.Pressure
		}
		if n := len(x.Filter.Readings); n > 0 {
			state.FilterDrop = &x.Filter.Readings[n-1].Drop
		}
		for _, m := range x.Motors { // of several the one nearest its rating, or above it
			if state.Current == nil || m.Rated != nil && (state.RatedCurrent == nil || m.Current / *m.Rated > *state.Current / *state.RatedCurrent) {
				state.Current, state.RatedCurrent = &m.Current, m.Rated
			}
			state.CurrentIsOver = state.CurrentIsOver || m.Over
		}
		states[x.Setup] = state
	}
	return states, nil
}
