package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// none stands where a figure is missing.
const none = "–"

// micrograms prints a level in µg/m³: a decimal below 10, thousands apart.
func micrograms(x float64) string {
	if math.Abs(x) < 9.95 {
		return strconv.FormatFloat(x, 'f', 1, 64)
	}
	return thousands(int64(math.Round(x)))
}

func thousands(n int64) string {
	text := strconv.FormatInt(n, 10)
	for i := len(text) - 3; i > 0 && text[i-1] != '-'; i -= 3 {
		text = text[:i] + "\u2009" + text[i:]
	}
	return text
}

// milligrams prints a mean in mg/m³ with three decimals below 1, fewer above.
func milligrams(x float64) string {
	switch {
	case x > 0 && x < 0.0005:
		return "< 0.001"
	case math.Abs(x) < 0.9995:
		return strconv.FormatFloat(x, 'f', 3, 64)
	case math.Abs(x) < 9.995:
		return strconv.FormatFloat(x, 'f', 2, 64)
	}
	return strconv.FormatFloat(x, 'f', 1, 64)
}

// given prints a number that may be missing.
func given(x *float64, print func(float64) string) string {
	if x == nil {
		return none
	}
	return print(*x)
}

func twoDecimals(x *float64) string {
	return given(x, func(x float64) string { return strconv.FormatFloat(x, 'f', 2, 64) })
}

// percent prints a share.
func percent(x float64) string {
	if p := 100 * x; p < 9.95 {
		return strconv.FormatFloat(p, 'f', 1, 64) + " %"
	}
	return thousands(int64(math.Round(100*x))) + " %"
}

// shareOfLimit prints a share; one that leaves out what the sensor cannot see says so.
func shareOfLimit(x *float64, atLeast bool) string {
	if x != nil && atLeast {
		return "≥ " + percent(*x)
	}
	return given(x, percent)
}

// ago says how long something has lasted.
func ago(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}

// metricWords names a metric with its unit left out, as in PM2.5.
func metricWords(metric string) string {
	if c, err := dust.ParseMetric(metric); err == nil {
		return c.Label()
	}
	return metric
}

// limitWords names a limit with what belongs to its number.
func limitWords(l exposure.Limit) string {
	return fmt.Sprintf("%s %s, mean over %s", l.ValuePrinted, l.FractionPrinted, l.Averaging)
}

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// full ends a sentence.
func full(s string) string {
	if s == "" || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}

func spaced(s string) string { return strings.ReplaceAll(s, "_", " ") }
