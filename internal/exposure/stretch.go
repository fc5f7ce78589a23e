package exposure

import (
	"slices"

	"dustlog/internal/dust"
)

// stretch is the usable part of [from, to) of one sensor, for one question after
// the other: sums, the highest 15 minutes, percentiles, shares of tasks. It may
// be filled again and again.
type stretch struct {
	from, to int64       // Unix milliseconds
	spans    []dust.Span // usable, inside [from, to), ng/m³
	marks    []mark      // every blockMs from from on, the last at to; none if that would be too many
	levels   levels
}

// blockMs is the distance of marks. It divides the 15-minute window, so the
// window's other edge is at a mark too.
const (
	blockMs         = int64(15_000)
	blocksPerWindow = int(windowMs / blockMs)
)

// mark is how far things stand at one moment.
type mark struct {
	i      int     // spans before i are wholly past
	whole  float64 // ΣC·Δt of those
	wholes int64   // ΣΔt of those
	dose   float64 // ΣC·Δt up to the moment
	ms     int64   // ΣΔt up to the moment
}

// fill takes the readings of b in [from, to) and returns what they add up to,
// and whether there is any reading at all, usable or not.
func (s *stretch) fill(b *buffer, from, to int64) (total sums, any bool) {
	s.from, s.to = from, to
	s.levels.reset(b.fine)
	i, _ := slices.BinarySearch(b.ms, from)
	if i > 0 && b.end(i-1) > from {
		i-- // the reading before still speaks
	}
	last, _ := slices.BinarySearch(b.ms, to)
	s.spans = slices.Grow(s.spans[:0], max(0, last-i))
	for ; i < last; i++ {
		begin, end, ng, flags := max(b.ms[i], from), min(b.end(i), to), b.ng[i], b.flags[i]
		if end <= begin {
			continue
		}
		any = true
		if !total.add(ng, end-begin, flags) {
			continue
		}
		s.levels.add(ng, end-begin)
		s.spans = append(s.spans, dust.Span{From: begin, To: end, Value: ng, Flags: flags})
	}
	s.mark()
	return total, any
}

// mark sets the marks.
func (s *stretch) mark() {
	s.marks = s.marks[:0]
	// Hours without a reading may have marks; years may not.
	if s.to <= s.from || (s.to-s.from)/blockMs > 100_000+4*int64(len(s.spans)) {
		return
	}
	c := cursor{spans: s.spans}
	for at := s.from; ; at = min(at+blockMs, s.to) {
		dose, ms := c.at(at)
		s.marks = append(s.marks, mark{c.i, c.dose, c.ms, dose, ms})
		if at == s.to {
			return
		}
	}
}

// cursorAt is a cursor at the mark with number k.
func (s *stretch) cursorAt(k int) cursor {
	if len(s.marks) == 0 {
		return cursor{spans: s.spans}
	}
	m := &s.marks[k]
	return cursor{spans: s.spans, i: m.i, dose: m.whole, ms: m.wholes}
}

// upTo returns ΣC·Δt and ΣΔt of the stretch up to t.
func (s *stretch) upTo(t int64) (dose float64, ms int64) {
	k := min(max(0, int((t-s.from)/blockMs)), max(0, len(s.marks)-1))
	if k == len(s.marks)-1 && k > 0 && t < s.to {
		k-- // the last one lies at to
	}
	c := s.cursorAt(k)
	return c.at(t)
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
		p := &c.spans[c.i]
		c.dose += p.Value * float64(p.To-p.From)
		c.ms += p.To - p.From
		c.i++
	}
	if c.i < len(c.spans) && c.spans[c.i].From < t {
		p := &c.spans[c.i]
		return c.dose + p.Value*float64(t-p.From), c.ms + t - p.From
	}
	return c.dose, c.ms
}

// next is the first begin or end of a span after t, for the t of the last at.
func (c *cursor) next(t int64) int64 {
	switch {
	case c.i == len(c.spans):
		return never
	case c.spans[c.i].From > t:
		return c.spans[c.i].From
	default:
		return c.spans[c.i].To
	}
}
