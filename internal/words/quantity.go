package words

import (
	"strconv"
	"time"
)

// Number is a number with the digits that are to be shown, as English writes it.
type Number string

// Significant is x with so many significant digits, without zeros at the end.
func Significant(x float64, digits int) Number {
	return Number(strconv.FormatFloat(x, 'g', digits, 64))
}

// Fixed is x with so many digits after the decimal sign.
func Fixed(x float64, digits int) Number { return Number(strconv.FormatFloat(x, 'f', digits, 64)) }

// Moment is a time to be shown.
type Moment struct {
	at     time.Time
	layout string
}

// Time is a moment in the zone of t. The layout, as for time.Time.Format, must be
// a constant: the catalogue has the other languages' own.
func Time(t time.Time, layout string) Moment { return Moment{t, layout} }

// Clock is a time of day, in the zone of t.
func Clock(t time.Time) Moment { return Time(t, "15:04") }

// Date is a day, in the zone of t.
func Date(t time.Time) Moment { return Time(t, "2006-01-02") }

// Day is a day written as 2006-01-02. What is no such day stays as it is.
func Day(s string) any {
	if t, err := time.Parse(time.DateOnly, s); err == nil {
		return Date(t)
	}
	return s
}

func (m Moment) String() string { return m.at.Format(m.layout) }
