package exposure

import (
	"math"
	"time"

	"dustlog/internal/dust"
)

// Columns are readings of one channel of one sensor in time order, as a store
// keeps them: a row is a reading. Either Ints or Floats is filled.
type Columns struct {
	MS []int64 // Unix milliseconds
	// PerUnit is how many quanta make 1 µg/m³; the value of row i is then
	// Ints[i] / PerUnit. It is 0 if Floats holds the values.
	PerUnit int
	Ints    []int32
	Floats  []float64 // µg/m³
	Flags   []dust.Flags
	Missing []bool // rows without a value; nil if there is none
}

// Inside the package values are in ng/m³: whatever a sensor sends in steps of
// 0.001 µg/m³ or coarser is a whole number there, and sums of concentration and
// time are exact in float64 up to 2^53, some hundred days at 1 mg/m³. They then
// do not depend on how readings were cut into pieces.
const (
	nanogramsPerMicrogram = 1e3
	nanogramsPerMilligram = 1e6
)

// nanograms turns µg/m³ into ng/m³, exactly if x is the float64 nearest to a
// whole number of tenths or thousandths. coarse says that it is of tenths.
func nanograms(x float64) (ng float64, coarse bool) {
	if k := math.RoundToEven(x * 10); k/10 == x {
		return k * 100, true
	}
	if k := math.RoundToEven(x * 1000); k/1000 == x {
		return k, false
	}
	return x * nanogramsPerMicrogram, false
}

// buffer holds readings that are still needed.
type buffer struct {
	ms    []int64 // begin, Unix milliseconds
	dt    []int32 // how long the reading speaks, ms
	ng    []float64
	flags []dust.Flags
	fine  bool // some value was no whole number of 0.1 µg/m³
}

const longestSpan = math.MaxInt32

// cut ends the last reading where the next begins.
func (b *buffer) cut(next int64) {
	if n := len(b.ms); n > 0 {
		b.dt[n-1] = int32(min(int64(b.dt[n-1]), next-b.ms[n-1]))
	}
}

// add appends the rows that have a value. Each speaks until the next, at most
// for the hold time that the rows' own pace asks for.
func (b *buffer) add(c Columns, channel dust.Channel) {
	first := len(b.ms)
	if c.Missing == nil {
		b.ms, b.flags = append(b.ms, c.MS...), append(b.flags, c.Flags...)
	} else {
		for i, missing := range c.Missing {
			if !missing {
				b.ms, b.flags = append(b.ms, c.MS[i]), append(b.flags, c.Flags[i])
			}
		}
	}
	b.addValues(c)
	if first == len(b.ms) {
		return
	}
	for i, f := range b.flags[first:] {
		if f != 0 {
			b.flags[first+i] = f.For(channel)
		}
	}
	if first > 0 {
		b.dt[first-1] = int32(min(int64(b.dt[first-1]), b.ms[first]-b.ms[first-1]))
	}
	b.addTimes(first, dust.HoldOf(b.ms[first:], dust.DefaultHold).Milliseconds())
}

func (b *buffer) addValues(c Columns) {
	if c.PerUnit == 0 {
		for i, x := range c.Floats {
			if c.Missing == nil || !c.Missing[i] {
				ng, coarse := nanograms(x)
				b.ng, b.fine = append(b.ng, ng), b.fine || !coarse
			}
		}
		return
	}
	quantum := nanogramsPerMicrogram / float64(c.PerUnit)
	b.fine = b.fine || c.PerUnit > 10
	for i, k := range c.Ints {
		if c.Missing == nil || !c.Missing[i] {
			b.ng = append(b.ng, float64(k)*quantum)
		}
	}
}

// addTimes fills in how long the readings from first on speak.
func (b *buffer) addTimes(first int, hold int64) {
	for i := first + 1; i < len(b.ms); i++ {
		b.dt = append(b.dt, int32(min(hold, b.ms[i]-b.ms[i-1])))
	}
	b.dt = append(b.dt, int32(hold))
}

// addSeries appends the readings of a series in [from, to), with its hold times.
func (b *buffer) addSeries(s *dust.Series, i int, to int64) {
	ms, _, _ := s.Columns()
	_, end, _ := s.Bounds()
	for p := range s.Spans(time.UnixMilli(ms[i]), end) {
		if p.From >= to {
			return
		}
		ng, coarse := nanograms(p.Value)
		b.cut(p.From)
		b.ms, b.dt = append(b.ms, p.From), append(b.dt, int32(min(p.To-p.From, longestSpan)))
		b.ng, b.flags, b.fine = append(b.ng, ng), append(b.flags, p.Flags), b.fine || !coarse
	}
}

// end is where reading i stops speaking.
func (b *buffer) end(i int) int64 { return b.ms[i] + int64(b.dt[i]) }

// drop forgets the first n readings.
func (b *buffer) drop(n int) {
	b.ms = b.ms[:copy(b.ms, b.ms[n:])]
	b.dt = b.dt[:copy(b.dt, b.dt[n:])]
	b.ng = b.ng[:copy(b.ng, b.ng[n:])]
	b.flags = b.flags[:copy(b.flags, b.flags[n:])]
}
