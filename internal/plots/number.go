package plots

import (
	"math"
	"strconv"
	"strings"

	"dustlog/internal/words"
)

// number prints v with three significant digits, without an exponent.
func number(v float64) words.Number {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return words.Number(strconv.FormatFloat(v, 'f', -1, 64))
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	if digits <= 0 {
		unit := math.Pow10(-digits)
		return grouped(strconv.FormatFloat(math.Round(v/unit)*unit, 'f', 0, 64))
	}
	s := strconv.FormatFloat(v, 'f', min(digits, 12), 64)
	return grouped(strings.TrimRight(strings.TrimRight(s, "0"), "."))
}

// ratioNumber prints a ratio with two decimals, with two digits below 0.1.
func ratioNumber(v float64) words.Number {
	switch {
	case v >= 0.1 && v < 10:
		return words.Fixed(v, 2)
	case v > 0 && v < 0.1:
		digits := 1 - int(math.Floor(math.Log10(v)))
		return words.Fixed(v, min(digits, 12))
	}
	return number(v)
}

// grouped puts a narrow space between thousands from 10 000 on and a true minus
// in front of negative numbers.
func grouped(s string) words.Number {
	sign := ""
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		sign, s = "−", rest
	}
	whole, fraction, found := strings.Cut(s, ".")
	if len(whole) > 4 {
		for i := len(whole) - 3; i > 0; i -= 3 {
			whole = whole[:i] + "\u202f" + whole[i:]
		}
	}
	if found {
		whole += "." + fraction
	}
	return words.Number(sign + whole)
}

func sessionCount(n int) words.Text { return words.Plural(n, "%d session", "%d sessions", n) }

func runCount(n int) words.Text { return words.Plural(n, "%d run", "%d runs", n) }

func shiftCount(n int) words.Text { return words.Plural(n, "%d shift", "%d shifts", n) }

func readingCount(n int) words.Text { return words.Plural(n, "%d reading", "%d readings", n) }

// sentences joins what says something.
func sentences(parts ...words.Text) words.Text { return words.JoinSaid(" ", parts...) }

func finite(p *float64) bool { return p != nil && !math.IsNaN(*p) && !math.IsInf(*p, 0) }
