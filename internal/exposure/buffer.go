package exposure

import (
	"math"
	"math/bits"
	"slices"
	"sort"
	"time"

	"dustlog/internal/dust"
)

// buffer holds the readings that are still needed: the usable ones in columns,
// the others apart, so that the long loops need not look at flags.
type buffer struct {
	ms   []int64   // begin, Unix milliseconds
	dt   []int32   // how long the reading speaks, ms
	ng   []float64 // ng/m³
	mind []uint8   // saturated, humid: used, but to be told
	fine bool      // some value was no whole number of 0.1 µg/m³
	odd  []unused

	flagged map[dust.Flags]int // all readings there were, by flags
	last    unfinished
}

// unused is a reading that statistics leave out.
type unused struct {
	from, to int64
	ng       float64 // what it said, number or not
	flag     uint8   // number of the flag that takes it out
}

// unfinished is the latest reading, which the next one may end.
type unfinished struct {
	ms, end int64
	odd     bool
	any     bool
}

const (
	mindSaturated = 1 << iota
	mindHumid
)

// put appends a reading that speaks for dt.
func (b *buffer) put(ms int64, dt int32, ng float64, flags dust.Flags) {
	b.last = unfinished{ms: ms, end: ms + int64(dt), any: true}
	if flags != 0 {
		b.count(flags)
	}
	var mind uint8
	if flags != 0 || !plausible(ng) {
		if why := unusable(ng, flags); why != 0 {
			b.odd, b.last.odd = append(b.odd, unused{ms, ms + int64(dt), ng, uint8(bits.TrailingZeros32(uint32(why)))}), true
			return
		}
		if flags.Has(dust.Saturated) {
			mind |= mindSaturated
		}
		if flags.Has(dust.Humid) {
			mind |= mindHumid
		}
	}
	b.ms, b.dt, b.ng, b.mind = append(b.ms, ms), append(b.dt, dt), append(b.ng, ng), append(b.mind, mind)
}

// count remembers how many readings have these flags.
func (b *buffer) count(flags dust.Flags) {
	if b.flagged == nil {
		b.flagged = map[dust.Flags]int{}
	}
	b.flagged[flags]++
}

// cut ends the latest reading where the next begins.
func (b *buffer) cut(next int64) {
	if !b.last.any || b.last.end <= next {
		return
	}
	b.last.end = next
	if b.last.odd {
		b.odd[len(b.odd)-1].to = next
	} else {
		b.dt[len(b.dt)-1] = int32(next - b.last.ms)
	}
}

// pieceRows is how many rows are gone through at a time: few enough to stay in the
// fastest memory from one loop over them to the next.
const pieceRows = 2048

// add appends rows, all with a value. Each speaks until the next, at most for
// the hold time that the rows' own pace asks for. It returns the first row that
// does not come after the one before, or -1; then what was appended is of no use.
func (b *buffer) add(c Columns, channel dust.Channel) (backwards int) {
	if len(c.MS) == 0 {
		return -1
	}
	b.cut(c.MS[0])
	b.reserve(len(c.MS))
	hold := c.hold().Milliseconds()
	last := len(c.MS) - 1
	for i := 0; i <= last; i++ {
		j := c.plainFrom(i, min(last, i+pieceRows))
		if j > 0 && c.MS[j] <= c.MS[j-1] {
			return j
		}
		b.addPlain(c, i, j, hold)
		dt := hold
		if j < last {
			dt = min(hold, c.MS[j+1]-c.MS[j])
		}
		ng, coarse := c.value(j)
		b.fine = b.fine || !coarse
		b.put(c.MS[j], int32(dt), ng, c.Flags[j].For(channel))
		i = j
	}
	return -1
}

// addPlain appends the rows i to j-1, which are not the last ones and have
// nothing against them. It is where the time goes, hence the single loops.
func (b *buffer) addPlain(c Columns, i, j int, hold int64) {
	n := len(b.ms)
	b.ms = append(b.ms, c.MS[i:j]...)
	b.dt, b.ng, b.mind = b.dt[:n+j-i], b.ng[:n+j-i], b.mind[:n+j-i]
	clear(b.mind[n:])
	ends := c.MS[i+1 : j+1]
	dt := b.dt[n:][:len(ends)]
	for k, begin := range c.MS[i:j][:len(ends)] {
		dt[k] = int32(min(ends[k]-begin, hold))
	}
	ng := b.ng[n:]
	if c.PerUnit == 0 {
		for k, x := range c.Floats[i:j] {
			var coarse bool
			ng[k], coarse = nanograms(x)
			b.fine = b.fine || !coarse
		}
		return
	}
	quantum := c.quantum()
	b.fine = b.fine || c.PerUnit > 10
	for k, x := range c.Ints[i:j] {
		ng[k] = float64(x) * quantum
	}
}

// reserve makes room for n readings.
func (b *buffer) reserve(n int) {
	b.ms, b.dt, b.ng, b.mind = room(b.ms, n), room(b.dt, n), room(b.ng, n), room(b.mind, n)
}

// room makes room for n more. Days differ little in length.
func room[T any](s []T, n int) []T {
	if cap(s)-len(s) >= n {
		return s
	}
	return append(make([]T, 0, len(s)+n+n/8), s...)
}

// addSeries appends the readings of a series from reading i on that begin
// before to, with its hold times.
func (b *buffer) addSeries(s *dust.Series, i int, to int64) {
	ms, _, _ := s.Columns()
	_, end, _ := s.Bounds()
	for p := range s.Spans(time.UnixMilli(ms[i]), end) {
		if p.From >= to {
			return
		}
		ng, coarse := nanograms(p.Value)
		b.fine = b.fine || !coarse
		b.cut(p.From)
		b.put(p.From, int32(min(p.To-p.From, math.MaxInt32)), ng, p.Flags)
	}
}

// addSpans appends usable spans as they are, the longest in several parts.
func (b *buffer) addSpans(spans []dust.Span) {
	b.fine = true
	for _, p := range spans {
		for ; p.To-p.From > math.MaxInt32; p.From += math.MaxInt32 {
			b.put(p.From, math.MaxInt32, p.Value, 0)
		}
		b.put(p.From, int32(p.To-p.From), p.Value, 0)
	}
}

// end is where usable reading i stops speaking.
func (b *buffer) end(i int) int64 { return b.ms[i] + int64(b.dt[i]) }

// search returns the first usable reading that begins at or after t.
func (b *buffer) search(t int64) int {
	i, _ := slices.BinarySearch(b.ms, t)
	return i
}

// oddIn returns the readings left out that speak in [from, to).
func (b *buffer) oddIn(from, to int64) []unused {
	i := sort.Search(len(b.odd), func(i int) bool { return b.odd[i].to > from })
	j := sort.Search(len(b.odd), func(i int) bool { return b.odd[i].from >= to })
	return b.odd[min(i, j):j]
}

// drop forgets the first n usable readings, and what was left out before ms.
func (b *buffer) drop(n int, ms int64) {
	b.ms = b.ms[:copy(b.ms, b.ms[n:])]
	b.dt = b.dt[:copy(b.dt, b.dt[n:])]
	b.ng = b.ng[:copy(b.ng, b.ng[n:])]
	b.mind = b.mind[:copy(b.mind, b.mind[n:])]
	b.odd = slices.DeleteFunc(b.odd, func(u unused) bool { return u.to <= ms })
}
