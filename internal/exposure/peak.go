package exposure

import (
	"math"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Reasons why there is no highest 15-minute mean.
var (
	ErrShortShift   = words.Error(words.Of("the shift is shorter than 15 minutes"))
	ErrNoFullWindow = words.Error(words.Of("no 15 minutes were at least 75 %% measured"))
)

const (
	windowMs     = int64(15 * time.Minute / time.Millisecond)
	windowNeedMs = windowMs * 3 / 4
	never        = math.MaxInt64 - windowMs
)

// Peak is the highest 15-minute mean of a shift.
type Peak struct {
	Mean     float64       // in the unit of the spans' values
	Start    time.Time     // the window is the 15 min from here
	Measured time.Duration // how much of the window was measured
	Complete bool          // no window of the shift had to be left out
}

// Max15min finds the highest time-weighted mean over any 15 minutes inside
// [from, to), as defined in the package comment: exact, in one pass. Of equal
// means the earliest counts. Spans must be in time order, apart, and usable. The
// error is ErrShortShift or ErrNoFullWindow.
func Max15min(spans []dust.Span, from, to time.Time) (Peak, error) {
	s := stretchOf(spans, from, to)
	return s.peak()
}

// stretchOf is the stretch of spans in any unit.
func stretchOf(spans []dust.Span, from, to time.Time) *stretch {
	var b buffer
	b.addSpans(spans)
	var s stretch
	s.fill(&b, from.UnixMilli(), to.UnixMilli())
	return &s
}

// peak searches the windows that end in one block after the other. A block of
// which the marks say that none of its windows can be the highest is passed
// over; in the others every instant of the definition is looked at.
func (s *stretch) peak() (Peak, error) {
	first := s.from + windowMs
	if first > s.to {
		return Peak{}, ErrShortShift
	}
	best := highest{complete: true}
	if len(s.marks) == 0 {
		best.scan(s.start(), s.start(), first, s.to)
	}
	least := s.highestAtMarks()
	for k := blocksPerWindow; k < len(s.marks); k++ {
		begin := s.from + int64(k)*blockMs
		if begin >= s.to && k > blocksPerWindow {
			break // the last mark begins no block
		}
		if s.mayHold(k, max(least, best.mean), &best) {
			best.scan(s.cursorAt(k), s.cursorAt(k-blocksPerWindow), min(begin, s.to), min(begin+blockMs, s.to))
		}
	}
	if !best.found {
		return Peak{}, ErrNoFullWindow
	}
	return best.peak(s), nil
}

// highestAtMarks is the highest mean of the windows between two marks: the
// maximum is at least this.
func (s *stretch) highestAtMarks() (mean float64) {
	for k := blocksPerWindow; k < len(s.marks)-1; k++ {
		head, tail := &s.marks[k], &s.marks[k-blocksPerWindow]
		ms, dose := head.ms-tail.ms, head.dose-tail.dose
		if ms >= windowNeedMs && dose > mean*float64(ms) { // few divisions
			mean = dose / float64(ms)
		}
	}
	return mean
}

// mayHold reports whether a window that ends in the block from mark k on may
// have a mean of least or more, or be the first one too little measured.
func (s *stretch) mayHold(k int, least float64, best *highest) bool {
	end := min(k+1, len(s.marks)-1)
	begin, tailEnd := &s.marks[k], &s.marks[min(k+1-blocksPerWindow, end)]
	mostMs := s.marks[end].ms - s.marks[k-blocksPerWindow].ms
	leastMs := max(begin.ms-tailEnd.ms, mostMs-blockMs) // between the outer marks is a block more than the window
	if mostMs < windowNeedMs {
		best.complete = false
		return false
	}
	if best.complete && leastMs < windowNeedMs {
		return true
	}
	const rounding = 1e-9 // sums of values that are no whole numbers
	most := s.marks[end].dose - s.marks[k-blocksPerWindow].dose
	return !(most < least*(1-rounding)*float64(max(leastMs, windowNeedMs)))
}

// moment is the 15 minutes that end at t: their dose and measured time.
type moment struct {
	t    int64
	dose float64
	ms   int64
}

type highest struct {
	at       moment
	mean     float64
	found    bool
	complete bool
}

// scan looks at every instant in [first, last] at which an edge of the window
// meets one of a span, at both ends, and where the measured part passes 75 %.
func (h *highest) scan(head, tail cursor, first, last int64) {
	var before moment
	for t := first; ; t = min(head.next(t), tail.next(t-windowMs)+windowMs, last) {
		now := moment{t: t}
		doseHead, msHead := head.at(t)
		doseTail, msTail := tail.at(t - windowMs)
		now.dose, now.ms = doseHead-doseTail, msHead-msTail
		if t > first {
			h.crossing(before, now)
		}
		h.see(now)
		if t >= last {
			return
		}
		before = now
	}
}

func (h *highest) see(w moment) {
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
func (h *highest) crossing(a, b moment) {
	if (a.ms < windowNeedMs) == (b.ms < windowNeedMs) {
		return
	}
	step := max(windowNeedMs-a.ms, a.ms-windowNeedMs)
	share := float64(step) / float64(b.t-a.t)
	h.see(moment{t: a.t + step, dose: a.dose + (b.dose-a.dose)*share, ms: windowNeedMs})
}

// peak sums the winning window afresh, free of the running sums' rounding.
func (h *highest) peak(s *stretch) Peak {
	from := h.at.t - windowMs
	dose, ms := s.sum(from, h.at.t)
	return Peak{
		Mean:     dose / float64(ms),
		Start:    time.UnixMilli(from).UTC(),
		Measured: time.Duration(ms) * time.Millisecond,
		Complete: h.complete,
	}
}
