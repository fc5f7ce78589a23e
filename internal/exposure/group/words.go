package group

import (
	"fmt"
	"math"
	"strings"

	"dustlog/internal/words"
)

// mg is a concentration in words, three digits.
func mg(x float64) words.Text {
	switch {
	case x >= 1e6:
		return words.Of("more than a million mg/m³")
	case x >= 1000:
		return words.Of("%s mg/m³", words.Fixed(x, 0))
	case x < 1e-5:
		return words.Of("less than 0.00001 mg/m³")
	}
	digits := 2 - int(math.Floor(math.Log10(x)))
	text := string(words.Fixed(x, max(0, digits)))
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return words.Of("%s mg/m³", words.Number(text))
}

// percent is a share in words. It never rounds to nothing or to all.
func percent(share float64) words.Text {
	decimals := 0
	switch p := 100 * share; {
	case p < 0.01:
		return words.Of("less than 0.01 %%")
	case p >= 99.95:
		return words.Of("more than 99.9 %%")
	case p < 0.1:
		decimals = 2
	case p > 99:
		decimals = 1
	case p < 10:
		return words.Of("%s %%", words.Number(strings.TrimSuffix(fmt.Sprintf("%.1f", p), ".0")))
	}
	return words.Of("%s %%", words.Fixed(100*share, decimals))
}

// shifts is a number of shifts.
func shifts(n int) words.Text { return words.Plural(n, "%d shift", "%d shifts", n) }

// moreShifts is a number of shifts that are wanting.
func moreShifts(n int) words.Text { return words.Plural(n, "%d more shift", "%d more shifts", n) }

// overText says how many shifts were above the limit.
func overText(over, n int, limit float64) words.Text {
	return words.Plural(over, "%d of %s was above the limit of %s.", "%d of %s were above the limit of %s.", over, shifts(n), mg(limit))
}
