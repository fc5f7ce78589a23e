package exposure

import (
	"fmt"
	"slices"
	"time"

	"dustlog/internal/dust"
)

// Track is what one sensor adds to an assessment, given day by day. Different
// tracks may be fed by different goroutines.
type Track struct {
	sensor  dust.Sensor
	channel dust.Channel

	buffer  buffer
	tallied int // readings of the buffer before this one are in runs
	pieces  []piece
	runs    []sums // by task of the diary

	count       int
	first, last int64 // begin of the first reading, end of the last
	longest     time.Duration
	flagged     map[dust.Flags]int
}

// piece is one shift of one sensor.
type piece struct {
	sums
	any        bool // it has a reading, usable or not
	peak       Peak // ng/m³
	peakErr    error
	p50        float64 // ng/m³
	p95, p99   float64
	aboveMs    int64
	taskShares []TaskDose
}

// Add takes more readings: at most one UTC day, all later than those before. The
// hold time fits their own pace, as dust.Series.FitHold does it. Flags are those
// of the whole reading. The columns may be used again afterwards.
func (t *Track) Add(c Columns) error {
	n := len(t.buffer.ms)
	t.buffer.add(c, t.channel)
	return t.added(n)
}

// AddSeries takes the readings of a series in [from, to), with the hold times
// of the series.
func (t *Track) AddSeries(s *dust.Series, from, to time.Time) error {
	ms, _, _ := s.Columns()
	i, _ := slices.BinarySearch(ms, from.UnixMilli())
	if i == len(ms) {
		return nil
	}
	n := len(t.buffer.ms)
	t.buffer.addSeries(s, i, to.UnixMilli())
	return t.added(n)
}

// added notes what came into the buffer from reading n on.
func (t *Track) added(n int) error {
	b := &t.buffer
	if len(b.ms) == n {
		return nil
	}
	for i := max(1, n); i < len(b.ms); i++ {
		if b.ms[i] <= b.ms[i-1] {
			return fmt.Errorf("sensor %q: %s comes after %s: %w", t.sensor.Name,
				time.UnixMilli(b.ms[i]).UTC().Format(time.RFC3339Nano), time.UnixMilli(b.ms[i-1]).UTC().Format(time.RFC3339Nano), dust.ErrTimeBackwards)
		}
	}
	if t.count == 0 {
		t.first = b.ms[n]
	}
	t.count += len(b.ms) - n
	t.last = b.end(len(b.ms) - 1)
	t.longest = max(t.longest, time.Duration(t.last-b.ms[len(b.ms)-1])*time.Millisecond)
	for _, f := range b.flags[n:] {
		if f != 0 {
			t.flagged[f]++
		}
	}
	return nil
}

// Count is the number of readings taken, unusable ones included.
func (t *Track) Count() int { return t.count }

// LongestHold is the longest time for which any of the readings may speak.
func (t *Track) LongestHold() time.Duration { return t.longest }

// Flagged counts the readings by what is known against them; a reading with
// several flags counts for each.
func (t *Track) Flagged() map[string]int {
	counts := map[string]int{}
	for flags, n := range t.flagged {
		for _, name := range flags.Names() {
			counts[name] += n
		}
	}
	return counts
}

// recording reports whether [from, to) touches the time of the readings at all.
func (t *Track) recording(from, to time.Time) bool {
	return t.count > 0 && t.first < to.UnixMilli() && from.UnixMilli() < t.last
}

// assess works out the shifts, and the runs of tasks before the horizon, and
// forgets the readings that nothing before keepFrom needs.
func (t *Track) assess(shifts []dust.Shift, tasks []dust.Task, limit float64, s *stretch, horizon, keepFrom int64) {
	for _, shift := range shifts {
		t.pieces = append(t.pieces, t.piece(shift, tasks, limit, s))
	}
	t.tally(tasks, horizon)
	n, _ := slices.BinarySearch(t.buffer.ms, keepFrom)
	n = min(max(0, n-1), t.tallied) // the reading before may still speak
	t.buffer.drop(n)
	t.tallied -= n
}

func (t *Track) piece(shift dust.Shift, tasks []dust.Task, limit float64, s *stretch) piece {
	var p piece
	p.sums, p.any = s.fill(&t.buffer, shift.Start.UnixMilli(), shift.End.UnixMilli())
	p.taskShares = s.taskShares(tasks)
	p.peak, p.peakErr = s.peak()
	if p.ms > 0 {
		p.p50 = s.levels.percentile(50, p.ms, s.spans)
		p.p95 = s.levels.percentile(95, p.ms, s.spans)
		p.p99 = s.levels.percentile(99, p.ms, s.spans)
		p.aboveMs = s.levels.above(limit, s.spans)
	}
	return p
}

// tally adds the readings that will not change any more to the runs of tasks.
// Readings are added whole and in order, so it does not matter in which pieces
// they came.
func (t *Track) tally(tasks []dust.Task, horizon int64) {
	b := &t.buffer
	last := len(b.ms)
	if last > 0 && b.end(last-1) > horizon {
		last-- // the next reading may end it
	}
	if last <= t.tallied {
		return
	}
	for k, task := range tasks {
		from, to := task.Start.UnixMilli(), never
		if !task.Running() {
			to = task.Stop.UnixMilli()
		}
		if to <= b.ms[t.tallied] || from >= b.end(last-1) {
			continue
		}
		i, _ := slices.BinarySearch(b.ms, from)
		for i = max(t.tallied, i-1); i < last && b.ms[i] < to; i++ {
			if begin, end := max(b.ms[i], from), min(b.end(i), to); end > begin {
				t.runs[k].add(b.ng[i], end-begin, b.flags[i])
			}
		}
	}
	t.tallied = last
}

// usableIn returns the begin of the first and the end of the last usable reading
// that begins in [from, to).
func (t *Track) usableIn(from, to int64) (first, last int64, ok bool) {
	b := &t.buffer
	i, _ := slices.BinarySearch(b.ms, from)
	j, _ := slices.BinarySearch(b.ms, to)
	for i < j && unusable(b.ng[i], b.flags[i]) != 0 {
		i++
	}
	for i < j && unusable(b.ng[j-1], b.flags[j-1]) != 0 {
		j--
	}
	if i >= j {
		return 0, 0, false
	}
	return b.ms[i], b.end(j - 1), true
}
