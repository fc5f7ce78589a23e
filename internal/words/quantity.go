package words

import (
	"strconv"
	"strings"
	"time"
)

// Number is a number with the digits that are to be shown, as English writes it.
type Number string

// Text is the number as something to say.
func (n Number) Text() Text { return Of("%s", n) }

// Fixed is x with so many digits behind the decimal sign.
func Fixed(x float64, decimals int) Number { return Number(strconv.FormatFloat(x, 'f', decimals, 64)) }

// Count is a whole number.
func Count(n int) Number { return Number(strconv.Itoa(n)) }

// Significant is x with so many significant digits, or all before the decimal sign if
// these are more, without zeros at the end behind it and without an exponent: as
// people read it.
func Significant(x float64, digits int) Number {
	if x == 0 || x-x != 0 {
		return Number(strconv.FormatFloat(x, 'f', -1, 64))
	}
	// The exponent after rounding: 99.96 has three digits before the sign.
	_, exponent, _ := strings.Cut(strconv.FormatFloat(x, 'e', digits-1, 64), "e")
	power, _ := strconv.Atoi(exponent)
	text := strconv.FormatFloat(x, 'f', max(0, digits-1-power), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return Number(text)
}

// Moment is a time to be shown.
type Moment struct {
	at     time.Time
	layout string
}

// Text is the moment as something to say.
func (m Moment) Text() Text { return Of("%s", m) }

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
