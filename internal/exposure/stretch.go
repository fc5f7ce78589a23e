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
	blockMs         = int64(30_000)
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

// walk goes through the readings once, few enough at a time to stay in the fastest
// memory from one loop over them to the next.
func (s *stretch) walk(total *sums) {
	s.marks = s.marks[:0]
	next := s.from // of the marks
	// Hours without a reading may have marks; years may not.
	if s.to <= s.from || (s.to-s.from)/blockMs > 100_000+4*int64(s.j-s.i) {
		next = never
	} else {
		s.marks = slices.Grow(s.marks, int((s.to-s.from)/blockMs)+2)
	}
	now := s.start() // before the latest reading, which the next may end
	for i := s.i; i < s.j; i += pieceRows {
		j := min(s.j, i+pieceRows)
		s.levels.count(s.b.ng[i:j], s.b.dt[i:j])
		s.addMinded(total, i, j)
		next = s.markPiece(&now, i, j, next)
	}
	s.markUpTo(s.to, next, now)
	s.leaveOutside()
	begun := s.start()
	doseFrom, msFrom := begun.at(s.from)
	doseTo, msTo := now.at(s.to)
	total.dose, total.ms = doseTo-doseFrom, msTo-msFrom
}

// addMinded counts those of the readings i to j-1 that are used but to be told.
func (s *stretch) addMinded(total *sums, i, j int) {
	for k, mind := range s.b.mind[i:j] {
		if k += i; mind != 0 {
			total.addMind(mind, s.b.ng[k], s.inside(s.b.ms[k], s.b.end(k)))
		}
	}
}

// markPiece sets the marks up to the begin of reading j-1, from next on, and
// returns the one after. now stands before reading i-1, and then before j-1.
func (s *stretch) markPiece(now *cursor, i, j int, next int64) int64 {
	dose, ms := now.dose, now.ms
	latestDose, latestMs := 0.0, int64(0)
	if i > s.i {
		latestMs = int64(s.b.dt[i-1])
		latestDose = s.b.ng[i-1] * float64(latestMs)
	}
	begin := s.b.ms[i:j]
	length, ng := s.b.dt[i:j][:len(begin)], s.b.ng[i:j][:len(begin)]
	for k, at := range begin {
		if at >= next {
			next = s.markUpTo(at, next, cursor{b: s.b, i: max(s.i, i+k-1), j: s.j, dose: dose, ms: ms})
		}
		dose, ms = dose+latestDose, ms+latestMs
		latestMs = int64(length[k])
		latestDose = ng[k] * float64(latestMs)
	}
	now.i, now.dose, now.ms = j-1, dose, ms
	return next
}

// leaveOutside takes what the first and the last reading say outside the stretch
// out of the levels. The others lie inside.
func (s *stretch) leaveOutside() {
	leave := func(i int) {
		s.levels.bins[binOf(s.b.ng[i])] -= int64(s.b.dt[i]) - s.inside(s.b.ms[i], s.b.end(i))
	}
	if s.i < s.j {
		leave(s.i)
	}
	if s.i < s.j-1 {
		leave(s.j - 1)
	}
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
