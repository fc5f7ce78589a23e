package exposure

import "slices"

// stretch is [from, to) of one sensor, for one question after the other: sums,
// the highest 15 minutes, percentiles, shares of tasks. It may be filled again
// and again; what it says is of the buffer it was filled from.
type stretch struct {
	from, to int64   // Unix milliseconds
	b        *buffer // usable readings i to j-1 share time with the stretch
	i, j     int
	marks    []mark // every blockMs from from on, the last at to; none if that would be too many
	levels   levels
}

// blockMs is the distance of marks. It divides the 15-minute window, so the
// window's other edge is at a mark too.
const (
	blockMs         = int64(15_000)
	blocksPerWindow = int(windowMs / blockMs)
)

// mark is how far things stand at one moment, counted from the begin of the
// stretch's first reading.
type mark struct {
	i      int     // readings before i are wholly past
	whole  float64 // ΣC·Δt of those
	wholes int64   // ΣΔt of those
	dose   float64 // ΣC·Δt up to the moment
	ms     int64   // ΣΔt up to the moment
}

// fill takes what b has in [from, to) and returns what it adds up to, and
// whether there is any reading at all, usable or not.
func (s *stretch) fill(b *buffer, from, to int64) (total sums, any bool) {
	s.from, s.to, s.b = from, to, b
	s.i, s.j = b.search(from), b.search(to)
	if s.i > 0 && b.end(s.i-1) > from {
		s.i-- // the reading before still speaks
	}
	s.levels.reset(b.fine)
	s.walk(&total)
	odd := b.oddIn(from, to)
	total.addOdd(odd, from, to)
	return total, s.j > s.i || len(odd) > 0
}

// walk goes through the readings once.
func (s *stretch) walk(total *sums) {
	s.marks = s.marks[:0]
	next := s.from // of the marks
	// Hours without a reading may have marks; years may not.
	if s.to <= s.from || (s.to-s.from)/blockMs > 100_000+4*int64(s.j-s.i) {
		next = never
	} else {
		s.marks = slices.Grow(s.marks, int((s.to-s.from)/blockMs)+2)
	}
	bins := s.levels.all()
	used := 0
	now := s.start() // before the latest reading
	dose, ms := 0.0, int64(0)
	begin := s.b.ms[s.i:s.j]
	length, ng, mind := s.b.dt[s.i:s.j][:len(begin)], s.b.ng[s.i:s.j][:len(begin)], s.b.mind[s.i:s.j][:len(begin)]
	for k, at := range begin {
		if at >= next {
			next = s.markUpTo(at, next, now)
		}
		now.i, now.dose, now.ms = s.i+k, dose, ms
		dt := int64(length[k])
		dose += ng[k] * float64(dt)
		ms += dt
		if k == 0 || k == len(begin)-1 {
			dt = s.inside(at, at+dt)
		}
		bin := binOf(ng[k])
		bins[bin] += dt
		used = max(used, bin+1)
		if mind[k] != 0 {
			total.addMind(mind[k], ng[k], dt)
		}
	}
	s.levels.bins = bins[:used]
	s.markUpTo(s.to, next, now)
	begun := s.start()
	doseFrom, msFrom := begun.at(s.from)
	doseTo, msTo := now.at(s.to)
	total.dose, total.ms = doseTo-doseFrom, msTo-msFrom
}

// inside is how much of [begin, end) the stretch holds.
func (s *stretch) inside(begin, end int64) int64 { return max(0, min(end, s.to)-max(begin, s.from)) }

// markUpTo sets the marks from next on up to and including at, where the next
// reading begins, and returns the one after. c stands before the latest reading.
func (s *stretch) markUpTo(at, next int64, c cursor) int64 {
	for next <= at {
		dose, ms := c.at(next)
		s.marks = append(s.marks, mark{i: c.i, whole: c.dose, wholes: c.ms, dose: dose, ms: ms})
		if next == s.to {
			return never
		}
		next = min(next+blockMs, s.to)
	}
	return next
}

// start is a cursor before the first reading.
func (s *stretch) start() cursor { return cursor{b: s.b, i: s.i, j: s.j} }

// cursorAt is a cursor at the mark with number k.
func (s *stretch) cursorAt(k int) cursor {
	if len(s.marks) == 0 {
		return s.start()
	}
	m := &s.marks[k]
	return cursor{b: s.b, i: m.i, j: s.j, dose: m.whole, ms: m.wholes}
}

// upTo returns ΣC·Δt and ΣΔt up to t, counted from the begin of the first
// reading.
func (s *stretch) upTo(t int64) (dose float64, ms int64) {
	k := min(max(0, int((t-s.from)/blockMs)), max(0, len(s.marks)-1))
	if k > 0 && k == len(s.marks)-1 && t < s.to {
		k-- // the last one lies at to
	}
	c := s.cursorAt(k)
	return c.at(t)
}

// sum adds [from, to) up afresh, free of running sums' rounding.
func (s *stretch) sum(from, to int64) (dose float64, ms int64) {
	c := s.cursorAt(min(max(0, int((from-s.from)/blockMs)), max(0, len(s.marks)-1)))
	for k := c.i; k < s.j && s.b.ms[k] < to; k++ {
		if dt := min(s.b.end(k), to) - max(s.b.ms[k], from); dt > 0 {
			dose += s.b.ng[k] * float64(dt)
			ms += dt
		}
	}
	return dose, ms
}

// cursor integrates readings up to a time that only moves forward.
type cursor struct {
	b    *buffer
	i, j int // readings before i are wholly past, from j on they do not count
	dose float64
	ms   int64
}

func (c *cursor) at(t int64) (dose float64, ms int64) {
	for c.i < c.j && c.b.end(c.i) <= t {
		dt := int64(c.b.dt[c.i])
		c.dose += c.b.ng[c.i] * float64(dt)
		c.ms += dt
		c.i++
	}
	if c.i < c.j && c.b.ms[c.i] < t {
		dt := t - c.b.ms[c.i]
		return c.dose + c.b.ng[c.i]*float64(dt), c.ms + dt
	}
	return c.dose, c.ms
}

// next is the first begin or end of a reading after t, for the t of the last at.
func (c *cursor) next(t int64) int64 {
	switch {
	case c.i == c.j:
		return never
	case c.b.ms[c.i] > t:
		return c.b.ms[c.i]
	default:
		return c.b.end(c.i)
	}
}
