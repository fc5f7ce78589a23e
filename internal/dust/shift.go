package dust

import (
	"fmt"
	"strings"
	"time"
)

// Shift is one person's working time on one date.
type Shift struct {
	Date  string // local date of the start, 2006-01-02
	Start time.Time
	End   time.Time
}

// Duration is the shift's length in real time, clock changes included.
func (s Shift) Duration() time.Duration { return s.End.Sub(s.Start) }

// ShiftHours are the working hours of a day as a clock on the wall shows them.
type ShiftHours struct {
	Start, End time.Duration // since local midnight; End ≤ Start means the next day
	Zone       *time.Location
}

// ParseShiftHours reads hours like "08:00-16:30".
func ParseShiftHours(s string, zone *time.Location) (ShiftHours, error) {
	from, to, ok := strings.Cut(strings.ReplaceAll(s, "–", "-"), "-")
	start, err1 := time.Parse("15:04", strings.TrimSpace(from))
	end, err2 := time.Parse("15:04", strings.TrimSpace(to))
	if !ok || err1 != nil || err2 != nil {
		return ShiftHours{}, fmt.Errorf("shift hours %q: write them as in \"08:00-16:30\"", s)
	}
	clock := func(t time.Time) time.Duration {
		return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
	}
	return ShiftHours{Start: clock(start), End: clock(end), Zone: zone}, nil
}

// On returns the shift that starts on the local date of day.
func (h ShiftHours) On(day time.Time) Shift {
	local := day.In(h.Zone)
	at := func(offset time.Duration, extraDays int) time.Time {
		y, m, d := local.Date()
		minutes := int(offset / time.Minute)
		return time.Date(y, m, d+extraDays, minutes/60, minutes%60, 0, 0, h.Zone).UTC()
	}
	next := 0
	if h.End <= h.Start {
		next = 1
	}
	return Shift{Date: local.Format(time.DateOnly), Start: at(h.Start, 0), End: at(h.End, next)}
}

// Between lists the shifts that share time with [from, to).
func (h ShiftHours) Between(from, to time.Time) []Shift {
	var shifts []Shift
	// Noon is never skipped or doubled by a clock change.
	y, m, d := from.In(h.Zone).Date()
	for day := time.Date(y, m, d-1, 12, 0, 0, 0, h.Zone); ; day = day.AddDate(0, 0, 1) {
		s := h.On(day)
		if !s.Start.Before(to) {
			return shifts
		}
		if s.End.After(from) {
			shifts = append(shifts, s)
		}
	}
}
