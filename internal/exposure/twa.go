package exposure

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"time"

	"dustlog/internal/dust"
)

const eightHoursMs = int64(8 * time.Hour / time.Millisecond)

// TWA8h is the 8-hour time-weighted average in the unit of the spans' values:
//
//	E = ΣC·Δt / 8 h
//
// always divided by 8 h, so time that no span covers counts as no exposure: say
// so wherever the number is shown. Source: 29 CFR 1910.1000(d)(1)(i). Pass
// usable spans only.
func TWA8h(spans iter.Seq[dust.Span]) float64 {
	dose, _ := integrate(spans)
	return dose / float64(eightHoursMs)
}

// MeasuredMean is the mean over the measured time, ΣC·Δt / ΣΔt, in the unit of
// the spans' values, and that time. ok is false if nothing was measured. Pass
// usable spans only.
func MeasuredMean(spans iter.Seq[dust.Span]) (mean float64, measured time.Duration, ok bool) {
	dose, ms := integrate(spans)
	if ms <= 0 {
		return 0, 0, false
	}
	return dose / float64(ms), time.Duration(ms) * time.Millisecond, true
}

// integrate returns ΣC·Δt in value·ms, and ΣΔt in ms.
func integrate(spans iter.Seq[dust.Span]) (dose float64, ms int64) {
	for p := range spans {
		dose += p.Value * float64(p.To-p.From)
		ms += p.To - p.From
	}
	return dose, ms
}

// TWAHours is the time a shift's dose is divided by for a limit: 8 h, or for an
// "up to 10-hour workday" limit the shift's length between 8 h and 10 h. Source:
// 29 CFR 1910.1000(d)(1)(i); the NIOSH Pocket Guide defines its RELs as averages
// "for up to a 10-hour workday" (from memory) and leaves the divisor open, so
// the shorter one that the words allow is taken, which gives the higher mean,
// except that a shift below 8 h is treated as by an 8-h limit.
func TWAHours(averaging Averaging, shift time.Duration) time.Duration {
	if averaging != TenHours {
		return 8 * time.Hour
	}
	return min(max(shift, 8*time.Hour), 10*time.Hour)
}

// MixtureIndex is the equivalent exposure of substances that add up:
//
//	E_m = C1/L1 + C2/L2 + … + Cn/Ln
//
// with concentrations C and limits L in one unit; above 1 the mixture is over.
// Source: 29 CFR 1910.1000(d)(2)(i). Not for wood species: where hardwood is in
// the mix, its limit holds for the whole dust (EU, UK, German rules).
func MixtureIndex(concentrations, limits []float64) (float64, error) {
	if len(concentrations) == 0 || len(concentrations) != len(limits) {
		return 0, fmt.Errorf("mixture index: %d concentrations and %d limits: give one limit for each, at least one", len(concentrations), len(limits))
	}
	sum := 0.0
	for i, c := range concentrations {
		if !(c >= 0) || !finite(c) || !(limits[i] > 0) || !finite(limits[i]) {
			return 0, fmt.Errorf("mixture index: part %d has concentration %g and limit %g: the first must be zero or more, the second above zero", i+1, c, limits[i])
		}
		sum += c / limits[i]
	}
	return sum, nil
}

// Reasons why there is no highest 15-minute mean.
var (
	ErrShortShift   = errors.New("the shift is shorter than 15 minutes")
	ErrNoFullWindow = errors.New("no 15 minutes were at least 75 % measured")
)

const (
	windowMs     = int64(15 * time.Minute / time.Millisecond)
	windowNeedMs = windowMs * 3 / 4
)

// Peak is the highest 15-minute mean of a shift.
type Peak struct {
	Mean     float64       // in the unit of the spans' values
	Start    time.Time     // the window is the 15 min from here
	Measured time.Duration // how much of the window was measured
	Complete bool          // no window of the shift had to be left out
}

// Max15min finds the highest time-weighted mean over any 15 minutes inside
// [from, to), as defined in the package comment: exact, in one pass. Spans must
// be in time order, apart, and usable. The error is ErrShortShift or
// ErrNoFullWindow.
func Max15min(spans []dust.Span, from, to time.Time) (Peak, error) {
	first, last := from.UnixMilli()+windowMs, to.UnixMilli()
	if first > last {
		return Peak{}, ErrShortShift
	}
	head, tail := cursor{spans: spans}, cursor{spans: spans}
	best := highest{complete: true}
	var before window
	for t := first; ; t = min(head.next(t), tail.next(t-windowMs)+windowMs, last) {
		now := window{t: t}
		doseHead, msHead := head.at(t)
		doseTail, msTail := tail.at(t - windowMs)
		now.dose, now.ms = doseHead-doseTail, msHead-msTail
		if t > first {
			best.crossing(before, now)
		}
		best.see(now)
		if t >= last {
			break
		}
		before = now
	}
	if !best.found {
		return Peak{}, ErrNoFullWindow
	}
	return best.peak(spans), nil
}

// window is the 15 minutes that end at t: its dose and measured time.
type window struct {
	t    int64
	dose float64
	ms   int64
}

type highest struct {
	at       window
	mean     float64
	found    bool
	complete bool
}

func (h *highest) see(w window) {
	if w.ms < windowNeedMs {
		h.complete = false
		return
	}
	if mean := w.dose / float64(w.ms); !h.found || mean > h.mean {
		h.at, h.mean, h.found = w, mean, true
	}
}

// crossing sees the instant between two neighbours at which the measured part
// passes 75 %. Measured time changes by 1 ms per ms there, so it is a whole ms.
func (h *highest) crossing(a, b window) {
	if (a.ms < windowNeedMs) == (b.ms < windowNeedMs) {
		return
	}
	step := max(windowNeedMs-a.ms, a.ms-windowNeedMs)
	share := float64(step) / float64(b.t-a.t)
	h.see(window{t: a.t + step, dose: a.dose + (b.dose-a.dose)*share, ms: windowNeedMs})
}

// peak sums the winning window afresh, free of the running sums' rounding.
func (h *highest) peak(spans []dust.Span) Peak {
	from, to := h.at.t-windowMs, h.at.t
	dose, ms := integrate(clip(spans, from, to))
	return Peak{
		Mean:     dose / float64(ms),
		Start:    time.UnixMilli(from).UTC(),
		Measured: time.Duration(ms) * time.Millisecond,
		Complete: h.complete,
	}
}

// cursor integrates spans up to a time that only moves forward.
type cursor struct {
	spans []dust.Span
	i     int // spans before i are wholly past
	dose  float64
	ms    int64
}

func (c *cursor) at(t int64) (dose float64, ms int64) {
	for c.i < len(c.spans) && c.spans[c.i].To <= t {
		p := c.spans[c.i]
		c.dose += p.Value * float64(p.To-p.From)
		c.ms += p.To - p.From
		c.i++
	}
	if c.i < len(c.spans) && c.spans[c.i].From < t {
		p := c.spans[c.i]
		return c.dose + p.Value*float64(t-p.From), c.ms + t - p.From
	}
	return c.dose, c.ms
}

// next is the first begin or end of a span after t, for the t of the last at.
func (c *cursor) next(t int64) int64 {
	switch {
	case c.i == len(c.spans):
		return math.MaxInt64 - windowMs
	case c.spans[c.i].From > t:
		return c.spans[c.i].From
	default:
		return c.spans[c.i].To
	}
}

// clip yields the parts of spans inside [from, to).
func clip(spans []dust.Span, from, to int64) iter.Seq[dust.Span] {
	return func(yield func(dust.Span) bool) {
		for _, p := range spans {
			if p.From >= to {
				return
			}
			p.From, p.To = max(p.From, from), min(p.To, to)
			if p.To > p.From && !yield(p) {
				return
			}
		}
	}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
