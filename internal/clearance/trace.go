package clearance

import (
	"time"

	"dustlog/internal/dust"
)

// stepMs is the length of a mean: short against 1/λ, long against the sensor's
// own smoothing. It divides a day, so a trace may come in day by day.
const stepMs = 20_000

// enoughOfMean is the share of a mean's time that must be measured.
const enoughOfMean = 0.75

// Trace is one channel of one sensor in 20 s means. What was not measured is
// missing in it.
type Trace struct {
	Sensor  dust.Sensor
	Channel dust.Channel
	means   []mean
}

type mean struct {
	ms        int64 // middle of the 20 s, Unix milliseconds
	c         float64
	saturated bool // some of it at the top of the sensor's range: at least c
}

func (m mean) time() time.Time { return time.UnixMilli(m.ms).UTC() }

// NewTrace returns an empty trace.
func NewTrace(sensor dust.Sensor, channel dust.Channel) *Trace {
	return &Trace{Sensor: sensor, Channel: channel}
}

// Len is the number of means.
func (t *Trace) Len() int { return len(t.means) }

// Add appends the means of a series that begins after what is there already. A
// 20 s that holds the beginning of no reading gets no mean, so that a table of
// minutes does not count threefold.
func (t *Trace) Add(s *dust.Series) {
	from, to, ok := s.Bounds()
	if !ok {
		return
	}
	var cell cell
	for p := range s.Spans(from, to) {
		for begin := p.From; begin < p.To; {
			index := begin / stepMs
			if index != cell.index {
				t.put(cell)
				cell = newCell(index)
			}
			end := min(p.To, (index+1)*stepMs)
			cell.add(p, begin, end)
			begin = end
		}
	}
	t.put(cell)
}

// cell is one mean in the making.
type cell struct {
	index     int64
	ms        int64
	dose      float64 // c·ms
	begins    bool    // a usable reading begins in it
	saturated bool
}

func newCell(index int64) cell { return cell{index: index} }

func (c *cell) add(p dust.Span, from, to int64) {
	if p.Unusable() != "" {
		return
	}
	c.ms += to - from
	c.dose += p.Value * float64(to-from)
	c.begins = c.begins || from == p.From
	c.saturated = c.saturated || p.Flags.Has(dust.Saturated)
}

func (t *Trace) put(c cell) {
	middle := c.index*stepMs + stepMs/2
	if !c.begins || float64(c.ms) < enoughOfMean*stepMs {
		return
	}
	if n := len(t.means); n > 0 && t.means[n-1].ms >= middle {
		return
	}
	t.means = append(t.means, mean{middle, c.dose / float64(c.ms), c.saturated})
}

// between are the means that lie wholly in [from, to).
func (t *Trace) between(from, to time.Time) []mean {
	lo, hi := from.UnixMilli()+stepMs/2, to.UnixMilli()-stepMs/2
	first, _ := search(t.means, lo)
	last, exact := search(t.means, hi)
	if exact {
		last++
	}
	if last < first {
		return nil
	}
	return t.means[first:last]
}
