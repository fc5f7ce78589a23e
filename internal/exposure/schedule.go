package exposure

import (
	"slices"
	"time"

	"dustlog/internal/dust"
)

// schedule says which shifts there are, as the readings come in.
type schedule interface {
	// due returns, once, the shifts that no reading from the horizon on can
	// change.
	due(tracks []*Track, horizon int64) []dust.Shift
	// keepFrom is the time from which the shifts to come need readings, for the
	// horizon of the last due.
	keepFrom(horizon int64) int64
	// empty reports whether shifts without any reading are kept.
	empty() bool
}

// listed are shifts that were given.
type listed struct{ pending []dust.Shift }

func (l *listed) due(_ []*Track, horizon int64) (shifts []dust.Shift) {
	l.pending = slices.DeleteFunc(l.pending, func(s dust.Shift) bool {
		if s.End.UnixMilli() > horizon {
			return false
		}
		if s.Duration().Milliseconds() > 0 { // Input.shifts tells of the others
			shifts = append(shifts, s)
		}
		return true
	})
	return shifts
}

func (l *listed) keepFrom(horizon int64) int64 {
	for _, s := range l.pending {
		horizon = min(horizon, s.Start.UnixMilli())
	}
	return horizon
}

func (l *listed) empty() bool { return true }

// declared are the shifts of declared hours.
type declared struct {
	hours dust.ShiftHours
	from  int64 // shifts that end up to here are done
	begun bool
}

func (d *declared) due(tracks []*Track, horizon int64) (shifts []dust.Shift) {
	first, last, ok := bounds(tracks)
	if !ok {
		return nil
	}
	if !d.begun {
		d.from, d.begun = first, true
	}
	for _, s := range d.between(d.from, min(last, horizon)) {
		if s.End.UnixMilli() > horizon {
			break
		}
		shifts = append(shifts, s)
		d.from = s.End.UnixMilli()
	}
	return shifts
}

func (d *declared) keepFrom(horizon int64) int64 {
	if !d.begun || horizon == end {
		return horizon
	}
	if coming := d.between(d.from, horizon); len(coming) > 0 {
		return min(horizon, coming[0].Start.UnixMilli())
	}
	return horizon
}

func (d *declared) between(from, to int64) []dust.Shift {
	return d.hours.Between(time.UnixMilli(from), time.UnixMilli(to))
}

func (d *declared) empty() bool { return false }

// bounds are the begin of the first and the end of the last reading so far.
func bounds(tracks []*Track) (first, last int64, ok bool) {
	for _, t := range tracks {
		if t.count == 0 {
			continue
		}
		if !ok || t.first < first {
			first = t.first
		}
		if !ok || t.last > last {
			last = t.last
		}
		ok = true
	}
	return first, last, ok
}

// byDay takes a shift from the usable readings of each local day.
type byDay struct {
	zone *time.Location
	from int64 // earlier readings are done
	seen bool
}

func (d *byDay) due(tracks []*Track, horizon int64) (shifts []dust.Shift) {
	for {
		at, ok := d.nextReading(tracks)
		if !ok {
			return shifts
		}
		dayEnd := dayAfter(at, d.zone)
		if latestEnd(tracks, dayEnd) > horizon {
			d.from, d.seen = at, true
			return shifts
		}
		if s, ok := d.shift(tracks, at, dayEnd); ok {
			shifts = append(shifts, s)
		}
		d.from, d.seen = dayEnd, true
	}
}

// nextReading is the time of the first usable reading, of any sensor, not yet
// done.
func (d *byDay) nextReading(tracks []*Track) (at int64, ok bool) {
	for _, t := range tracks {
		i := 0
		if d.seen {
			i = t.buffer.search(d.from)
		}
		if i < len(t.buffer.ms) && (!ok || t.buffer.ms[i] < at) {
			at, ok = t.buffer.ms[i], true
		}
	}
	return at, ok
}

// latestEnd is how far the usable readings that begin before to may speak.
func latestEnd(tracks []*Track, to int64) int64 {
	latest := to
	for _, t := range tracks {
		if i := t.buffer.search(to); i > 0 {
			latest = max(latest, t.buffer.end(i-1))
		}
	}
	return latest
}

// shift spans the usable readings that begin in [from, to). A reading held over
// midnight ends where the next day's work begins.
func (d *byDay) shift(tracks []*Track, from, to int64) (dust.Shift, bool) {
	var first, last int64
	found := false
	for _, t := range tracks {
		a, b, ok := t.usableIn(from, to)
		if !ok {
			continue
		}
		if !found || a < first {
			first = a
		}
		if !found || b > last {
			last = b
		}
		found = true
	}
	for _, t := range tracks {
		if a, _, ok := t.usableIn(to, last); ok {
			last = min(last, a)
		}
	}
	return dust.Shift{
		Date:  time.UnixMilli(from).In(d.zone).Format(time.DateOnly),
		Start: time.UnixMilli(first).UTC(), End: time.UnixMilli(last).UTC(),
	}, found
}

func (d *byDay) keepFrom(horizon int64) int64 {
	if !d.seen {
		return horizon
	}
	return min(horizon, d.from)
}

func (d *byDay) empty() bool { return true }

// dayAfter is where the local date of a moment ends.
func dayAfter(ms int64, zone *time.Location) int64 {
	now := time.UnixMilli(ms).In(zone)
	y, m, day := now.Date()
	date := now.Format(time.DateOnly)
	next := time.Date(y, m, day+1, 0, 0, 0, 0, zone)
	// Where a clock change skips midnight, Date gives a time beside it. Clock
	// changes fall on whole quarter hours.
	const quarter = 15 * time.Minute
	for next.Format(time.DateOnly) == date {
		next = next.Add(quarter)
	}
	for next.Add(-quarter).After(now) && next.Add(-quarter).Format(time.DateOnly) != date {
		next = next.Add(-quarter)
	}
	return next.UnixMilli()
}
