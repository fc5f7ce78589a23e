package compare

import (
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Shares of a run that must be measured.
const (
	leastMeasured   = 0.75 // of the run, by the chosen sensor
	leastBackground = 0.50 // of the run, by the background sensor, to subtract it
)

// measured is what a series says about one stretch of time.
type measured struct {
	seconds   float64 // usable
	level     float64 // time-weighted mean so far: sums of huge values would overflow
	saturated float64 // seconds
	humid     float64 // seconds
	lost      map[string]float64
}

// mean is the time-weighted mean; NaN if nothing was measured.
func (m measured) mean() float64 {
	if m.seconds == 0 {
		return math.NaN()
	}
	return m.level
}

// look says which readings measure takes.
type look struct {
	everything bool    // unusable readings that are numbers, too
	spikes     *spikes // left out; nil: none are
}

// measure averages s over [from, to).
func measure(s *dust.Series, from, to time.Time, l look) measured {
	var m measured
	if s == nil {
		return m
	}
	spiked := l.spikes.of(s)
	for p := range s.Spans(from, to) {
		sec := p.Seconds()
		why := p.Unusable()
		if why != "" && l.everything && isFinite(p.Value) {
			why = ""
		}
		if why == "" && spiked.holds(p.From) {
			why = spikeReason
		}
		if why != "" {
			if m.lost == nil {
				m.lost = map[string]float64{}
			}
			m.lost[why] += sec
			continue
		}
		m.seconds += sec
		m.level += p.Value*(sec/m.seconds) - m.level*(sec/m.seconds)
		if p.Flags.Has(dust.Saturated) {
			m.saturated += sec
		}
		if p.Flags.Has(dust.Humid) {
			m.humid += sec
		}
	}
	return m
}

// difference is the mean of plus, less that of minus if there is one, over
// [from, to); NaN if fewer seconds than needed were measured or no number comes
// of it.
func difference(plus, minus *dust.Series, from, to time.Time, need float64, l look) float64 {
	mean := func(s *dust.Series) float64 {
		m := measure(s, from, to, l)
		if m.seconds < need || m.seconds == 0 {
			return math.NaN()
		}
		return m.mean()
	}
	if minus == nil {
		return mean(plus)
	}
	return mean(plus) - mean(minus)
}

func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// quantity is something to compare: a channel, or the difference of two.
type quantity struct {
	metric, unit    string
	label           words.Text
	plus, minus     *dust.Series // minus may be nil
	bgPlus, bgMinus *dust.Series // background of the two; nil: nothing is subtracted
	floor           float64      // net values below it are lost in rounding
	note            words.Text
}

// hasBackground reports whether a background can be subtracted.
func (q quantity) hasBackground() bool {
	return q.bgPlus != nil && (q.minus == nil || q.bgMinus != nil)
}

// outside is the quantity's mean at the background sensor over [from, to); NaN if
// fewer seconds than needed were measured.
func (q quantity) outside(from, to time.Time, need float64) float64 {
	if !q.hasBackground() {
		return math.NaN()
	}
	return difference(q.bgPlus, q.bgMinus, from, to, need, look{})
}

// outsideOr is outside with at least half of the time measured, else the value
// given. A constant background needs none.
func (q quantity) outsideOr(g *ground, otherwise float64, from, to time.Time) float64 {
	if g.kind == constantGround {
		return 0
	}
	if x := q.outside(from, to, leastBackground*to.Sub(from).Seconds()); !math.IsNaN(x) {
		return x
	}
	return otherwise
}

// netFloor is three times the smallest step that low-cost sensors report
// (1 µg/m³; one particle in 0.1 L; 0.001 mg/m³): rounding biases means below about
// 3 µg/m³. A convention, not a published limit; see ground.loq for the rest.
func netFloor(c dust.Channel) float64 {
	switch {
	case isNumber(c):
		return 0.03
	case c == dust.Formaldehyde:
		return 0.003
	}
	return 3
}

func median(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	n := len(s)
	if n == 0 {
		return math.NaN()
	}
	return s[(n-1)/2]/2 + s[n/2]/2 // two huge values would overflow in a sum
}
