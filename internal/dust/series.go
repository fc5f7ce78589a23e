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
	paces []pace // empty: Hold for all
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

// longestHold bounds what FitHold may conclude from sparse readings: a reading
// every five minutes can still tell of a shift, one an hour cannot.
const longestHold = 5 * time.Minute

const dayMs = int64(24 * time.Hour / time.Millisecond)

// pace is the hold time of the readings from an index on.
type pace struct {
	from int
	hold int64 // ms
}

// FitHold sets the hold time of each UTC day's readings to what their own pace
// asks for: one and a half times their median spacing, at least Hold and at most
// five minutes. Sensors that send about once a second keep Hold; a table of
// one-minute means is not taken for a row of gaps. Other days do not matter, so
// that newer readings never change what an old day says.
func (s *Series) FitHold() {
	s.paces = nil
	for from := 0; from < len(s.ms); {
		day, to := s.ms[from]/dayMs, from
		for to < len(s.ms) && s.ms[to]/dayMs == day {
			to++
		}
		s.paces = append(s.paces, pace{from, s.fit(from, to)})
		from = to
	}
}

// fit is the hold time, in ms, for the readings from and up to an index.
func (s *Series) fit(from, to int) int64 { return HoldOf(s.ms[from:to], s.Hold).Milliseconds() }

// HoldOf is the hold time that the pace of one UTC day's readings asks for, as
// FitHold sets it, from their times in Unix milliseconds.
func HoldOf(ms []int64, least time.Duration) time.Duration {
	if len(ms) < 3 {
		return least
	}
	const most = 1001 // spacings looked at; the median needs no more
	var spacing [most]int64
	n, step := 0, len(ms)/most+1
	for i := 1; i < len(ms); i += step {
		spacing[n] = ms[i] - ms[i-1]
		n++
	}
	slices.Sort(spacing[:n])
	fit := time.Duration(spacing[n/2]*3/2) * time.Millisecond
	return max(min(fit, longestHold), least)
}

// LongestHold is the longest time for which any of the readings may speak.
func (s *Series) LongestHold() time.Duration {
	longest := s.Hold
	for _, p := range s.paces {
		longest = max(longest, time.Duration(p.hold)*time.Millisecond)
	}
	return longest
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
	return time.UnixMilli(s.ms[0]).UTC(), time.UnixMilli(s.ms[len(s.ms)-1] + s.hold(len(s.paces)-1)).UTC(), true
}

// Span is a stretch of time for which one reading speaks.
type Span struct {
	From, To int64 // Unix milliseconds, half-open
	Value    float64
	Flags    Flags
}

// Seconds is the span's length in seconds.
func (p Span) Seconds() float64 { return float64(p.To-p.From) / 1000 }

// Unusable names what keeps the span out of statistics of an amount, which can be
// neither below zero nor no number even where nobody flagged it: the first flag
// that does so alone, so that excluded time adds up. "" if nothing does.
func (p Span) Unusable() string {
	for bit := Flags(1); bit != 0 && p.Flags.Unusable(); bit <<= 1 {
		if p.Flags.Has(bit) && bit.Unusable() {
			return bit.String()
		}
	}
	switch {
	case p.Value-p.Value != 0: // NaN or infinite
		return MissingValue.String()
	case p.Value < 0:
		return NegativeMass.String()
	}
	return ""
}

// Spans yields, in order and clipped to [from, to), the stretches for which a
// reading speaks: from its time to the next reading's, at most Hold. Time that
// no span covers is a gap. Unusable readings are yielded too, with their flags.
func (s *Series) Spans(from, to time.Time) iter.Seq[Span] {
	return func(yield func(Span) bool) {
		lo, hi := from.UnixMilli(), to.UnixMilli()
		i, _ := slices.BinarySearch(s.ms, lo)
		if i > 0 {
			i-- // the reading before may still speak
		}
		k := s.paceAt(i)
		for ; i < len(s.ms) && s.ms[i] < hi; i++ {
			for k+1 < len(s.paces) && s.paces[k+1].from <= i {
				k++
			}
			end := s.ms[i] + s.hold(k)
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

// hold is the hold time of pace k in ms.
func (s *Series) hold(k int) int64 {
	if k < 0 || k >= len(s.paces) {
		return s.Hold.Milliseconds()
	}
	return s.paces[k].hold
}

// paceAt is the index of the pace that reading i belongs to, or -1.
func (s *Series) paceAt(i int) int {
	k, found := slices.BinarySearchFunc(s.paces, i, func(p pace, i int) int { return p.from - i })
	if !found {
		k--
	}
	return k
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
