package compare

import (
	"fmt"
)

// Spread is how much the sessions of one setup differ.
type Spread struct {
	SD       float64 // of ln session values, at the common task mix
	Sessions int     // that it is from; sessions of one day count as one
}

// DF are the degrees of freedom of the standard deviation.
func (s Spread) DF() int { return s.Sessions - 1 }

// SpreadOf tells how much sessions under one setup differ, to plan with before
// anything is changed. in.Before names the setup; in.After is not looked at.
// Errors wrap dust.ErrUnknownSetup, dust.ErrNoReadings or ErrTooFew.
func SpreadOf(in Input) (Spread, error) {
	in = in.withDefaults()
	in.After = ""
	if err := in.checkSetup(in.Before); err != nil {
		return Spread{}, err
	}
	if err := in.checkSeries(); err != nil {
		return Spread{}, err
	}
	_, samples, effects, err := sessionsOf(in)
	if err != nil {
		return Spread{}, err
	}
	var days []float64
	for _, d := range byDay(samples, effects) {
		m, _ := meanSD(d.value[before])
		days = append(days, m)
	}
	_, sd := meanSD(days)
	if len(days) < fewestSessions || !(sd > noSpread) {
		return Spread{}, fmt.Errorf("spread of %s under %q: %w", sessionCount(len(days)), in.Before, ErrTooFew)
	}
	return Spread{SD: sd, Sessions: len(days)}, nil
}
