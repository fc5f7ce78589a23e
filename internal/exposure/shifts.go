package exposure

import (
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// ShiftsFromReadings takes shifts from the readings where no hours are declared:
// for each local date from the first to the last usable reading of any series.
// Work over midnight therefore becomes two shifts. A nil zone means UTC.
func ShiftsFromReadings(series []*dust.Series, zone *time.Location) []dust.Shift {
	if zone == nil {
		zone = time.UTC
	}
	byDate := map[string]*dust.Shift{}
	for _, s := range series {
		if s == nil {
			continue
		}
		var day localDay
		from, to, _ := s.Bounds()
		for p := range s.Spans(from, to) {
			if unusable(p.Value, p.Flags) == 0 {
				day.move(p.From, zone)
				widen(byDate, day.date, p)
			}
		}
	}
	shifts := make([]dust.Shift, 0, len(byDate))
	for _, s := range byDate {
		shifts = append(shifts, *s)
	}
	slices.SortFunc(shifts, func(a, b dust.Shift) int { return a.Start.Compare(b.Start) })
	for i := range len(shifts) - 1 {
		// A reading held over midnight ends where the next day's work begins.
		if shifts[i].End.After(shifts[i+1].Start) {
			shifts[i].End = shifts[i+1].Start
		}
	}
	return shifts
}

func widen(byDate map[string]*dust.Shift, date string, p dust.Span) {
	from, to := time.UnixMilli(p.From).UTC(), time.UnixMilli(p.To).UTC()
	s := byDate[date]
	if s == nil {
		byDate[date] = &dust.Shift{Date: date, Start: from, End: to}
		return
	}
	if from.Before(s.Start) {
		s.Start = from
	}
	if to.After(s.End) {
		s.End = to
	}
}

// overMidnight warns where undeclared shifts follow each other without a pause:
// that is one night's work cut in two, each part with less dust than the whole.
func overMidnight(shifts []ShiftResult) []words.Text {
	const pause = 10 * time.Minute
	last := map[string]ShiftResult{}
	for _, s := range shifts {
		before, ok := last[s.Sensor]
		last[s.Sensor] = s
		if ok && s.Start.Sub(before.End) < pause {
			return []words.Text{words.Of("readings run over midnight after %s: without declared hours such work counts as two shifts, each with less dust than the whole; declare the shift hours, as in 22:00-06:00", words.Day(before.Date))}
		}
	}
	return nil
}

// localDay remembers the local date of the last time asked for, since a week of
// readings asks for few dates.
type localDay struct {
	date     string
	from, to int64
}

func (d *localDay) move(ms int64, zone *time.Location) {
	if d.date != "" && ms >= d.from && ms < d.to {
		return
	}
	// Clock changes fall on whole quarter hours, so a quarter has one date.
	const quarter = int64(15 * time.Minute / time.Millisecond)
	d.from = ms - ((ms%quarter)+quarter)%quarter
	d.to = d.from + quarter
	d.date = time.UnixMilli(ms).In(zone).Format(time.DateOnly)
}
