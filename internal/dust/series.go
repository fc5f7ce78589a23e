package dust

import (
	"fmt"
	"iter"
	"slices"
	"time"
)

// DefaultHold is how long a reading speaks when no other follows it. Anything
// longer between two readings is a gap.
const DefaultHold = 5 * time.Second

// Series is one channel of one sensor in time order. Columns keep a week of
// readings small and quick to walk.
type Series struct {
	Sensor  Sensor
	Channel Channel
	Hold    time.Duration

	ms    []int64 // Unix milliseconds
	value []float64
	flags []Flags
}

// NewSeries returns an empty series with the default hold time.
func NewSeries(sensor Sensor, channel Channel) *Series {
	return &Series{Sensor: sensor, Channel: channel, Hold: DefaultHold}
}

// Append adds a value with the flags of its reading. Its time must lie after the
// last one, else the error wraps ErrTimeBackwards and the series stays as it was.
func (s *Series) Append(t time.Time, value float64, flags Flags) error {
	ms := t.UnixMilli()
	if n := len(s.ms); n > 0 && ms <= s.ms[n-1] {
		return fmt.Errorf("sensor %q: %s comes after %s: %w", s.Sensor.Name,
			t.UTC().Format(time.RFC3339Nano), time.UnixMilli(s.ms[n-1]).UTC().Format(time.RFC3339Nano), ErrTimeBackwards)
	}
	s.ms, s.value, s.flags = append(s.ms, ms), append(s.value, value), append(s.flags, flags.For(s.Channel))
	return nil
}

// longestHold bounds what FitHold may conclude from sparse readings.
const longestHold = time.Hour

// FitHold sets the hold time to what the readings' own pace asks for: one and a
// half times their median spacing, at least DefaultHold and at most an hour.
// Sensors that send about once a second keep the default; a table of one-minute
// means is not taken for a row of gaps.
func (s *Series) FitHold() {
	if len(s.ms) < 3 {
		return
	}
	const most = 4001 // spacings looked at; the median needs no more
	step := max(1, len(s.ms)/most)
	var spacing []int64
	for i := 1; i < len(s.ms); i += step {
		spacing = append(spacing, s.ms[i]-s.ms[i-1])
	}
	slices.Sort(spacing)
	fit := time.Duration(spacing[len(spacing)/2]) * time.Millisecond * 3 / 2
	s.Hold = min(max(fit, DefaultHold), longestHold)
}

// Len is the number of readings, unusable ones included.
func (s *Series) Len() int { return len(s.ms) }

// At returns reading i: its time, value and flags.
func (s *Series) At(i int) (time.Time, float64, Flags) {
	return time.UnixMilli(s.ms[i]).UTC(), s.value[i], s.flags[i]
}

// Columns returns the series' own slices: Unix milliseconds, values and flags.
// Callers must not change them.
func (s *Series) Columns() (ms []int64, value []float64, flags []Flags) {
	return s.ms, s.value, s.flags
}

// Bounds returns the first reading's time and the end of the last one's hold.
// ok is false for an empty series.
func (s *Series) Bounds() (from, to time.Time, ok bool) {
	if len(s.ms) == 0 {
		return from, to, false
	}
	return time.UnixMilli(s.ms[0]).UTC(), time.UnixMilli(s.ms[len(s.ms)-1]).Add(s.Hold).UTC(), true
}

// Span is a stretch of time for which one reading speaks.
type Span struct {
	From, To int64 // Unix milliseconds, half-open
	Value    float64
	Flags    Flags
}

// Seconds is the span's length in seconds.
func (p Span) Seconds() float64 { return float64(p.To-p.From) / 1000 }

// Spans yields, in order and clipped to [from, to), the stretches for which a
// reading speaks: from its time to the next reading's, at most Hold. Time that
// no span covers is a gap. Unusable readings are yielded too, with their flags.
func (s *Series) Spans(from, to time.Time) iter.Seq[Span] {
	return func(yield func(Span) bool) {
		lo, hi, hold := from.UnixMilli(), to.UnixMilli(), s.Hold.Milliseconds()
		i, _ := slices.BinarySearch(s.ms, lo)
		if i > 0 {
			i-- // the reading before may still speak
		}
		for ; i < len(s.ms) && s.ms[i] < hi; i++ {
			end := s.ms[i] + hold
			if i+1 < len(s.ms) {
				end = min(end, s.ms[i+1])
			}
			p := Span{From: max(s.ms[i], lo), To: min(end, hi), Value: s.value[i], Flags: s.flags[i]}
			if p.To > p.From && !yield(p) {
				return
			}
		}
	}
}

// Usable yields the spans of Spans whose readings statistics may use.
func (s *Series) Usable(from, to time.Time) iter.Seq[Span] {
	return func(yield func(Span) bool) {
		for p := range s.Spans(from, to) {
			if !p.Flags.Unusable() && !yield(p) {
				return
			}
		}
	}
}
