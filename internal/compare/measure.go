package compare

import (
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
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

// measure averages s over [from, to). everything also takes unusable readings
// that are numbers.
func measure(s *dust.Series, from, to time.Time, everything bool) measured {
	var m measured
	if s == nil {
		return m
	}
	for p := range s.Spans(from, to) {
		sec := p.Seconds()
		if why := p.Unusable(); why != "" && !(everything && isFinite(p.Value)) {
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

func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// quantity is something to compare: a channel, or the difference of two.
type quantity struct {
	metric, label, unit string
	plus, minus         *dust.Series // minus may be nil
	bgPlus, bgMinus     *dust.Series // background of the two; nil: nothing is subtracted
	loq                 float64      // net values below it are not told from the background
	note                string
}

// hasBackground reports whether a background can be subtracted.
func (q quantity) hasBackground() bool {
	return q.bgPlus != nil && (q.minus == nil || q.bgMinus != nil)
}

// Limits of quantification of a net mean: three times the smallest step that
// low-cost sensors report (1 µg/m³; one particle in 0.1 L; 0.001 mg/m³), since
// rounding biases means below about 3 µg/m³. A convention, not a published
// limit: collocation would give a better one.
func netLOQ(c dust.Channel) float64 {
	switch {
	case isNumber(c):
		return 0.03
	case c == dust.Formaldehyde:
		return 0.003
	}
	return 3
}

// net is one run's value of a quantity above background.
type net struct {
	value      float64 // NaN: not measured
	standIn    bool    // background of other runs was subtracted
	background bool    // a background was subtracted
}

// netMeans computes the quantity's value of every run above background. A run
// whose own background was measured for less than half of it gets the median of
// the runs that have theirs.
func netMeans(q quantity, runs []run, everything bool) []net {
	out := make([]net, len(runs))
	own := make([]float64, len(runs))
	var covered []float64
	for i, r := range runs {
		out[i].value = difference(q.plus, q.minus, r, r.need, everything)
		own[i] = math.NaN()
		if q.hasBackground() {
			own[i] = difference(q.bgPlus, q.bgMinus, r, r.needBackground, false)
		}
		if !math.IsNaN(own[i]) {
			covered = append(covered, own[i])
		}
	}
	if len(covered) == 0 {
		return finiteOnly(out)
	}
	usual := median(covered)
	for i := range out {
		out[i].background = true
		if math.IsNaN(own[i]) {
			own[i], out[i].standIn = usual, true
		}
		out[i].value -= own[i]
	}
	return finiteOnly(out)
}

// finiteOnly takes a difference that left the range of numbers as not measured.
func finiteOnly(nets []net) []net {
	for i := range nets {
		if !isFinite(nets[i].value) {
			nets[i].value = math.NaN()
		}
	}
	return nets
}

// difference is the mean of plus, less that of minus if there is one, over the
// run; NaN if fewer seconds than needed were measured or no number comes of it.
func difference(plus, minus *dust.Series, r run, need float64, everything bool) float64 {
	if everything {
		need = 0
	}
	mean := func(s *dust.Series) float64 {
		m := measure(s, r.start, r.stop, everything)
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

func median(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	n := len(s)
	if n == 0 {
		return math.NaN()
	}
	return s[(n-1)/2]/2 + s[n/2]/2 // two huge values would overflow in a sum
}
