package sealed

import (
	"fmt"
	"time"
)

// Day is a UTC day, counted from 1970-01-01.
type Day int64

const dayMS = 86_400_000

// DayOf returns the UTC day of a moment in Unix milliseconds.
func DayOf(ms int64) Day {
	d := ms / dayMS
	if ms%dayMS < 0 {
		d--
	}
	return Day(d)
}

// ParseDay reads a day as String prints it.
func ParseDay(s string) (Day, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a day: write it as in 2026-03-02", s)
	}
	return DayOf(t.UnixMilli()), nil
}

// Bounds returns the day's half-open range in Unix milliseconds.
func (d Day) Bounds() (from, to int64) { return int64(d) * dayMS, (int64(d) + 1) * dayMS }

// Time is the moment at which the day begins.
func (d Day) Time() time.Time { from, _ := d.Bounds(); return milli(from) }

// String is the date, as in 2026-03-02.
func (d Day) String() string { return d.Time().Format(time.DateOnly) }

func milli(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
