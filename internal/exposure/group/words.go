package group

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// mg is a concentration in words, three digits.
func mg(x float64) string {
	switch {
	case x >= 1e6:
		return "more than a million mg/m³"
	case x >= 1000:
		return fmt.Sprintf("%.0f mg/m³", x)
	case x < 1e-5:
		return "less than 0.00001 mg/m³"
	}
	digits := 2 - int(math.Floor(math.Log10(x)))
	text := strconv.FormatFloat(x, 'f', max(0, digits), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + " mg/m³"
}

// percent is a share in words. It never rounds to nothing or to all.
func percent(share float64) string {
	switch p := 100 * share; {
	case p < 0.01:
		return "less than 0.01 %"
	case p < 0.1:
		return fmt.Sprintf("%.2f %%", p)
	case p > 99 && p < 99.95:
		return fmt.Sprintf("%.1f %%", p)
	case p >= 99.95:
		return "more than 99.9 %"
	case p < 10:
		return strings.Replace(fmt.Sprintf("%.1f %%", p), ".0 ", " ", 1)
	default:
		return fmt.Sprintf("%.0f %%", p)
	}
}

// many is a number of things.
func many(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// were is a number of things with its verb.
func were(n int, word string) string {
	if n == 1 {
		return "1 " + word + " was"
	}
	return fmt.Sprintf("%d %ss were", n, word)
}

// overWords says how many shifts were above the limit.
func overWords(over, n int, limit float64) string {
	verb := "were"
	if over == 1 {
		verb = "was"
	}
	return fmt.Sprintf("%d of %s %s above the limit of %s.", over, many(n, "shift"), verb, mg(limit))
}

// are is a number after "there".
func are(n int) string {
	switch n {
	case 0:
		return "is none"
	case 1:
		return "is 1"
	}
	return fmt.Sprintf("are %d", n)
}
