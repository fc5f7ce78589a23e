package clearance

import (
	"fmt"
	"iter"
	"math"
	"time"
)

// Means yields the trace's 20 s means that lie wholly in [from, to), each with the
// middle of its time.
func (t *Trace) Means(from, to time.Time) iter.Seq2[time.Time, float64] {
	return func(yield func(time.Time, float64) bool) {
		for _, m := range t.between(from, to) {
			if !yield(m.time(), m.c) {
				return
			}
		}
	}
}

// At is the decay's fitted curve C(t) = Cbg + (C0 − Cbg)·exp(−λt) at a moment, in
// the result's unit; t = 0 is the middle of the record's first mean. ok is false
// where no curve was found.
func (d Decay) At(t time.Time) (level float64, ok bool) {
	if d.State != Measured || d.PerHour == nil || d.C0 == nil || d.Background == nil {
		return 0, false
	}
	hours := t.Sub(d.From.Add(stepMs / 2 * time.Millisecond)).Hours()
	return *d.Background + (*d.C0-*d.Background)*math.Exp(-*d.PerHour*hours), true
}

// Until is how long this very decay takes from the start of its record to a level in
// the result's unit. The error wraps ErrNoFall where it does not get there, and
// ErrNoFit where no curve was found.
func (d Decay) Until(level float64) (ToLevel, error) {
	if d.State != Measured || d.fit.cov == nil {
		return ToLevel{}, fmt.Errorf("level %.3g: %w", level, ErrNoFit)
	}
	return d.fit.MinutesTo(level)
}
