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
	tallied int // usable readings of the buffer before this one are in runs
	oddDone int // the same for those left out
	pieces  []piece
	runs    []sums // by task of the diary

	count       int
	first, last int64 // begin of the first reading, end of the last
	longest     time.Duration
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
	peaks      []above // windows that a peak rule may ask about
	taskShares []TaskDose
}

// question is what a piece is asked about.
type question struct {
	limit float64 // mg/m³, for the time above it
	peaks float64 // ng/m³, 15-min means up to here matter to no peak rule
}

// Add takes more readings: at most one UTC day, all later than those before.
// Flags are those of the whole reading. The columns may be used again afterwards.
func (t *Track) Add(c Columns) error {
	c = c.Present()
	if err := t.begin(c.MS); err != nil {
		return err
	}
	if i := t.buffer.add(c, t.channel); i > 0 {
		return t.backwards(c.MS[i-1], c.MS[i])
	}
	t.noteEnd()
	return nil
}

// AddSeries takes the readings of a series in [from, to), with the hold times
// of the series.
func (t *Track) AddSeries(s *dust.Series, from, to time.Time) error {
	ms, _, _ := s.Columns()
	i, _ := slices.BinarySearch(ms, from.UnixMilli())
	j, _ := slices.BinarySearch(ms, to.UnixMilli())
	if i >= j {
		return nil
	}
	if err := t.begin(ms[i:j]); err != nil {
		return err
	}
	t.buffer.addSeries(s, i, to.UnixMilli())
	t.noteEnd()
	return nil
}

// begin counts readings that are about to be added.
func (t *Track) begin(ms []int64) error {
	if len(ms) == 0 {
		return nil
	}
	if t.count == 0 {
		t.first = ms[0]
	} else if ms[0] <= t.buffer.last.ms {
		return t.backwards(t.buffer.last.ms, ms[0])
	}
	t.count += len(ms)
	return nil
}

// noteEnd looks at the latest reading, which nothing has ended yet.
func (t *Track) noteEnd() {
	t.last = t.buffer.last.end
	t.longest = max(t.longest, time.Duration(t.last-t.buffer.last.ms)*time.Millisecond)
}

func (t *Track) backwards(before, ms int64) error {
	text := func(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339Nano) }
	return fmt.Errorf("sensor %q: %s comes after %s: %w", t.sensor.Name, text(ms), text(before), dust.ErrTimeBackwards)
}

// Sensor is the sensor of the track.
func (t *Track) Sensor() dust.Sensor { return t.sensor }

// Count is the number of readings taken, unusable ones included.
func (t *Track) Count() int { return t.count }

// LongestHold is the longest time for which any of the readings may speak.
func (t *Track) LongestHold() time.Duration { return t.longest }

// Flagged counts the readings by what is known against them; a reading with
// several flags counts for each.
func (t *Track) Flagged() map[string]int {
	counts := map[string]int{}
	for flags, n := range t.buffer.flagged {
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
func (t *Track) assess(shifts []dust.Shift, tasks []dust.Task, asked question, s *stretch, horizon, keepFrom int64) {
	for _, shift := range shifts {
		t.pieces = append(t.pieces, t.piece(shift, tasks, asked, s))
	}
	t.tally(tasks, horizon)
	n := min(max(0, t.buffer.search(keepFrom)-1), t.tallied) // the reading before may still speak
	odd := len(t.buffer.odd)
	t.buffer.drop(n, keepFrom)
	t.tallied -= n
	t.oddDone -= odd - len(t.buffer.odd)
}

func (t *Track) piece(shift dust.Shift, tasks []dust.Task, asked question, s *stretch) piece {
	var p piece
	p.sums, p.any = s.fill(&t.buffer, shift.Start.UnixMilli(), shift.End.UnixMilli())
	p.taskShares = s.taskShares(tasks)
	p.peak, p.peakErr = s.peak()
	if p.peakErr == nil && p.peak.Mean > asked.peaks {
		p.peaks = s.windowsAbove(asked.peaks, p.peak)
	}
	if p.ms > 0 {
		p.p50, p.p95, p.p99 = s.percentile(50, p.ms), s.percentile(95, p.ms), s.percentile(99, p.ms)
		p.aboveMs = s.above(asked.limit)
	}
	return p
}

// tally adds the readings that will not change any more to the runs of tasks.
// Readings are added whole and in order, so it does not matter in which pieces
// they came.
func (t *Track) tally(tasks []dust.Task, horizon int64) {
	b := &t.buffer
	last, lastOdd := len(b.ms), len(b.odd)
	if b.last.end > horizon { // the next reading may end it
		if b.last.odd {
			lastOdd--
		} else {
			last--
		}
	}
	for k, task := range tasks {
		from, to := task.Start.UnixMilli(), never
		if !task.Running() {
			to = task.Stop.UnixMilli()
		}
		t.runs[k].addOdd(b.odd[t.oddDone:lastOdd], from, to)
		for i := max(t.tallied, b.search(from)-1); i < last && b.ms[i] < to; i++ {
			if ms := min(b.end(i), to) - max(b.ms[i], from); ms > 0 {
				t.runs[k].dose += b.ng[i] * float64(ms)
				t.runs[k].ms += ms
				t.runs[k].addMind(b.mind[i], b.ng[i], ms)
			}
		}
	}
	t.tallied, t.oddDone = last, lastOdd
}

// usableIn returns the begin of the first and the end of the last usable reading
// that begins in [from, to).
func (t *Track) usableIn(from, to int64) (first, last int64, ok bool) {
	b := &t.buffer
	i, j := b.search(from), b.search(to)
	if i >= j {
		return 0, 0, false
	}
	return b.ms[i], b.end(j - 1), true
}
