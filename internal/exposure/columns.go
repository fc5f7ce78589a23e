package exposure

import (
	"math"
	"slices"
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
	// Hold is how long a row speaks at most; 0 means what the rows' own pace asks
	// for, as dust.Series.FitHold finds it for a UTC day.
	Hold time.Duration
}

// Cut splits a day at a moment. Both parts have the hold time of the whole.
func (c Columns) Cut(at time.Time) (before, rest Columns) {
	c = c.Present()
	i, _ := slices.BinarySearch(c.MS, at.UnixMilli())
	hold := c.hold()
	before = Columns{MS: c.MS[:i], PerUnit: c.PerUnit, Flags: c.Flags[:i], Hold: hold}
	rest = Columns{MS: c.MS[i:], PerUnit: c.PerUnit, Flags: c.Flags[i:], Hold: hold}
	if c.PerUnit == 0 {
		before.Floats, rest.Floats = c.Floats[:i], c.Floats[i:]
	} else {
		before.Ints, rest.Ints = c.Ints[:i], c.Ints[i:]
	}
	return before, rest
}

// hold is how long a row speaks at most; all rows have a value.
func (c *Columns) hold() time.Duration {
	if c.Hold > 0 {
		return c.Hold
	}
	return dust.HoldOf(c.MS, dust.DefaultHold)
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

// Present returns the rows that have a value; c itself if all have.
func (c Columns) Present() Columns {
	if c.Missing == nil {
		return c
	}
	p := Columns{PerUnit: c.PerUnit, Hold: c.Hold}
	for i, missing := range c.Missing {
		if missing {
			continue
		}
		p.MS, p.Flags = append(p.MS, c.MS[i]), append(p.Flags, c.Flags[i])
		if c.PerUnit == 0 {
			p.Floats = append(p.Floats, c.Floats[i])
		} else {
			p.Ints = append(p.Ints, c.Ints[i])
		}
	}
	return p
}

func (c *Columns) quantum() float64 { return nanogramsPerMicrogram / float64(c.PerUnit) }

// value is row i in ng/m³; coarse as for nanograms.
func (c *Columns) value(i int) (ng float64, coarse bool) {
	if c.PerUnit == 0 {
		return nanograms(c.Floats[i])
	}
	return float64(c.Ints[i]) * c.quantum(), c.PerUnit <= 10
}

// plainFrom is the first row from i on, up to end, that has a flag, no plausible
// value, or a time that is not later than that of the row before.
func (c *Columns) plainFrom(i, end int) int {
	ms, flags := c.MS[:end], c.Flags[:end]
	before := int64(math.MinInt64)
	if i > 0 {
		before = ms[i-1]
	}
	if c.PerUnit == 0 {
		for values := c.Floats[:end]; i < end && ms[i] > before && flags[i] == 0 && plausible(values[i]); i++ {
			before = ms[i]
		}
		return i
	}
	for values := c.Ints[:end]; i < end && ms[i] > before && flags[i] == 0 && values[i] >= 0; i++ {
		before = ms[i]
	}
	return i
}
