package plots

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Envelope gathers months of readings of one channel into narrow strips of time.
// Each keeps its first, lowest, highest and last usable reading and whether there
// is a gap in it, so that a line drawn from it shows every peak and crosses no gap
// that is wide enough to be seen.
type Envelope struct {
	Sensor  dust.Sensor
	Channel dust.Channel

	from, to int64 // Unix milliseconds
	width    int64 // of a strip, ms
	strips   []strip

	lastMS, lastHold int64 // of the reading before
	joinable         bool  // it was usable
	readings, usable int
}

// stripCount is finer than the dots of any page, so a strip never blurs a picture.
const stripCount = 4096

type strip struct {
	n                      int32 // usable readings
	left                   int32 // unusable ones
	joined, broken         bool  // to the strip before; a gap inside
	firstMS, lastMS        int64
	lowMS, highMS          int64
	first, low, high, last float64
}

// NewEnvelope starts one for [from, to).
func NewEnvelope(sensor dust.Sensor, c dust.Channel, from, to time.Time) *Envelope {
	e := &Envelope{Sensor: sensor, Channel: c, from: from.UnixMilli(), to: to.UnixMilli()}
	e.to = max(e.to, e.from+1)
	e.width = (e.to - e.from + stripCount - 1) / stripCount
	e.strips = make([]strip, (e.to-e.from+e.width-1)/e.width)
	return e
}

// Readings is how many readings were added, and how many of them are drawn.
func (e *Envelope) Readings() (all, usable int) { return e.readings, e.usable }

// Add takes readings that lie after those before, of one UTC day or part of one.
// Those outside the time shown are passed over. The error wraps
// dust.ErrTimeBackwards.
func (e *Envelope) Add(c exposure.Columns) error {
	if c.Missing != nil {
		c = c.Present()
	}
	hold := c.Hold
	if hold == 0 {
		hold = dust.HoldOf(c.MS, dust.DefaultHold)
	}
	i, _ := slices.BinarySearch(c.MS, e.from)
	j, _ := slices.BinarySearch(c.MS, e.to)
	if i >= j {
		return nil
	}
	if e.readings > 0 && c.MS[i] <= e.lastMS {
		return fmt.Errorf("sensor %q: %s comes after %s: %w", e.Sensor.Name, time.UnixMilli(c.MS[i]).UTC().Format(time.RFC3339Nano),
			time.UnixMilli(e.lastMS).UTC().Format(time.RFC3339Nano), dust.ErrTimeBackwards)
	}
	if c.PerUnit == 0 {
		gather(e, c.MS[i:j], c.Floats[i:j], c.Flags[i:j], 1, hold.Milliseconds())
	} else {
		gather(e, c.MS[i:j], c.Ints[i:j], c.Flags[i:j], float64(c.PerUnit), hold.Milliseconds())
	}
	return nil
}

// gather goes through the rows strip by strip. What has no flag, which is nearly
// all, takes one narrow loop.
func gather[V int32 | float64](e *Envelope, ms []int64, values []V, flags []dust.Flags, perUnit float64, hold int64) {
	for i := 0; i < len(ms); {
		index := (ms[i] - e.from) / e.width
		end := e.from + (index+1)*e.width
		j := len(ms)
		if ms[j-1] >= end {
			more, _ := slices.BinarySearch(ms[i:], end)
			j = i + more
		}
		s := &e.strips[index]
		if !plain(e, s, ms[i:j], values[i:j], flags[i:j], perUnit, hold) {
			for k := i; k < j; k++ {
				e.one(s, ms[k], float64(values[k])/perUnit, flags[k], hold)
			}
		}
		i = j
	}
}

// plain takes rows of one strip that have no flag and a number each; false, and
// nothing taken, if there are others among them.
func plain[V int32 | float64](e *Envelope, s *strip, ms []int64, values []V, flags []dust.Flags, perUnit float64, hold int64) bool {
	var any dust.Flags
	for _, f := range flags {
		any |= f
	}
	values, ms = values[:len(flags)], ms[:len(flags)]
	low, high, sum := values[0], values[0], V(0)
	for _, v := range values {
		low, high = min(low, v), max(high, v)
		sum += v - v // not zero once a value is no number
	}
	if any.Unusable() || sum != 0 {
		return false
	}
	longest := int64(0)
	for k := 1; k < len(ms); k++ {
		longest = max(longest, ms[k]-ms[k-1])
	}
	n := len(ms)
	e.one(s, ms[0], float64(values[0])/perUnit, flags[0], hold)
	if n == 1 {
		return true
	}
	s.take(ms[slices.Index(values, low)], float64(low)/perUnit)
	s.take(ms[slices.Index(values, high)], float64(high)/perUnit)
	s.broken = s.broken || longest > hold
	s.n += int32(n - 1)
	s.lastMS, s.last = ms[n-1], float64(values[n-1])/perUnit
	e.readings, e.usable = e.readings+n-1, e.usable+n-1
	e.lastMS, e.lastHold, e.joinable = ms[n-1], hold, true
	return true
}

// one takes one reading.
func (e *Envelope) one(s *strip, ms int64, v float64, f dust.Flags, hold int64) {
	e.readings++
	joined := e.joinable && ms-e.lastMS <= e.lastHold
	e.lastMS, e.lastHold = ms, hold
	if e.joinable = !f.Unusable() && v-v == 0; !e.joinable {
		s.left++
		return
	}
	e.usable++
	if s.n == 0 {
		*s = strip{left: s.left, joined: joined, firstMS: ms, first: v, lowMS: ms, low: v, highMS: ms, high: v}
	} else {
		s.broken = s.broken || !joined
		s.take(ms, v)
	}
	s.n++
	s.lastMS, s.last = ms, v
}

func (s *strip) take(ms int64, v float64) {
	if v < s.low {
		s.low, s.lowMS = v, ms
	}
	if v > s.high {
		s.high, s.highMS = v, ms
	}
}

// bounds are the lowest and highest usable value; ok is false without one.
func (e *Envelope) bounds() (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range e.strips {
		if s := &e.strips[i]; s.n > 0 {
			low, high = math.Min(low, s.low), math.Max(high, s.high)
		}
	}
	return low, high, high >= low
}

// samples are the corners of the strips, in time order.
func (e *Envelope) samples(yield func(sample) bool) {
	for i := range e.strips {
		s := &e.strips[i]
		if s.n == 0 {
			continue
		}
		for _, corner := range s.corners() {
			if !yield(corner) {
				return
			}
		}
	}
}

func (s *strip) corners() []sample {
	first, last := sample{s.firstMS, s.first, s.joined}, sample{s.lastMS, s.last, !s.broken}
	if s.broken { // an upright line, which takes no time, stands for what is between
		return []sample{first, {s.highMS, s.low, false}, {s.highMS, s.high, true}, last}
	}
	between := [2]sample{{s.lowMS, s.low, true}, {s.highMS, s.high, true}}
	if s.highMS < s.lowMS {
		between[0], between[1] = between[1], between[0]
	}
	out := []sample{first}
	for _, c := range append(between[:], last) {
		if c.ms > out[len(out)-1].ms {
			out = append(out, c)
		}
	}
	return out
}

// pauses lists the strips without a usable reading and those with an unusable one,
// neighbours joined.
func (e *Envelope) pauses() (none, unusable []stretch) {
	add := func(list *[]stretch, i int) {
		from := e.from + int64(i)*e.width
		to := min(from+e.width, e.to)
		if n := len(*list); n > 0 && (*list)[n-1].to == from {
			(*list)[n-1].to = to
		} else {
			*list = append(*list, stretch{from, to})
		}
	}
	for i := range e.strips {
		if e.strips[i].n == 0 {
			add(&none, i)
		}
		if e.strips[i].left > 0 {
			add(&unusable, i)
		}
	}
	return none, unusable
}
