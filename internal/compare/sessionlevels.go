package compare

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// SessionLevel is one session's level at the common task mix, in the metric's unit.
type SessionLevel struct {
	Setup string
	Start time.Time
	Level float64
}

// SessionLevels are the levels of the sessions under in.Before and, if it is named,
// in.After, by start, for what wants to look at sessions one by one. Errors wrap
// dust.ErrUnknownSetup, dust.ErrNoReadings or ErrTooFew.
func SessionLevels(in Input) ([]SessionLevel, error) {
	in = in.withDefaults()
	if err := in.checkSetup(in.Before); err != nil {
		return nil, err
	}
	if in.After != "" {
		if err := in.checkSetup(in.After); err != nil {
			return nil, err
		}
	}
	if err := in.checkSeries(); err != nil {
		return nil, err
	}
	st, samples, effects, err := sessionsOf(in)
	if err != nil {
		return nil, err
	}
	var list []SessionLevel
	for i, x := range st.sessions {
		if y, ok := effects[i]; ok && slices.ContainsFunc(samples, func(s sample) bool { return s.session == i }) {
			list = append(list, SessionLevel{Setup: x.setup, Start: x.start, Level: math.Exp(y)})
		}
	}
	return list, nil
}

// sessionsOf fits the sessions of the setups of in together.
func sessionsOf(in Input) (st *study, samples []sample, effects map[int]float64, err error) {
	st = newStudy(in)
	if st.noDiary {
		return nil, nil, nil, fmt.Errorf("spread of sessions: %w: %w", errNoDiary, ErrTooFew)
	}
	q := st.channel(in.Metric)
	nets, loq := st.netMeans(q, rules{})
	for i, r := range st.runs {
		if x := nets[i].value; st.takes(r, rules{}) && !math.IsNaN(x) {
			samples = append(samples, st.sample(r, math.Log(math.Max(x, loq))))
		}
	}
	samples, _ = keepLinked(samples)
	effects, err = fitSessions(observations(samples))
	return st, samples, effects, err
}
