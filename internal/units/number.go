package units

import (
	"errors"
	"math"
	"strconv"
	"strings"
)

var errNumber = errors.New("no number")

// parseNumber reads "1000", "1,000", "-4.2", "2 1/2" and "1/2". A comma stands only
// between groups of three digits; a decimal comma is refused, for "1,250" could be
// either.
func parseNumber(s string) (float64, error) {
	s = strings.Replace(strings.TrimSpace(s), "−", "-", 1)
	if whole, fraction, ok := cutFraction(s); ok {
		return mixed(whole, fraction)
	}
	digits, err := ungrouped(s)
	if err != nil {
		return 0, err
	}
	return decimal(digits)
}

// decimal is strconv.ParseFloat without what nobody writes at a bench: hexadecimal,
// underscores, "inf" and "nan".
func decimal(s string) (float64, error) {
	if s == "" || strings.Trim(s, "+-.0123456789eE") != "" {
		return 0, errNumber
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, errNumber
	}
	return x, nil
}

// ungrouped takes the commas out of "12,500".
func ungrouped(s string) (string, error) {
	whole, rest, _ := strings.Cut(s, ".")
	if !strings.Contains(s, ",") {
		return s, nil
	}
	groups := strings.Split(strings.TrimLeft(whole, "+-"), ",")
	if strings.Contains(rest, ",") || len(groups[0]) < 1 || len(groups[0]) > 3 || groups[0] == "0" {
		return "", errNumber
	}
	for _, g := range groups[1:] {
		if len(g) != 3 {
			return "", errNumber
		}
	}
	return strings.ReplaceAll(s, ",", ""), nil
}

// cutFraction splits "2 1/2" and "2-1/2" as inches are read off a rule.
func cutFraction(s string) (whole, fraction string, ok bool) {
	if !strings.Contains(s, "/") {
		return "", "", false
	}
	if i := strings.LastIndexAny(s, " -"); i > 0 {
		return strings.TrimSpace(s[:i]), s[i+1:], true
	}
	return "0", s, true
}

func mixed(whole, fraction string) (float64, error) {
	over, under, _ := strings.Cut(fraction, "/")
	w, err1 := strconv.ParseUint(whole, 10, 31)
	n, err2 := strconv.ParseUint(over, 10, 31)
	d, err3 := strconv.ParseUint(under, 10, 31)
	if err1 != nil || err2 != nil || err3 != nil || d == 0 {
		return 0, errNumber
	}
	return float64(w) + float64(n)/float64(d), nil
}

// figures prints three significant digits or a little more, never an exponent: what
// is measured at a bench is not known better.
func figures(x float64) string {
	digits := 0
	switch size := math.Abs(x); {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return "–"
	case size >= 100 || size == 0:
	case size >= 10:
		digits = 1
	case size >= 1:
		digits = 2
	default:
		digits = 3
	}
	return strconv.FormatFloat(x, 'f', digits, 64)
}

// exact prints all digits that a value has, for JSON.
func exact(x float64) string {
	if size := math.Abs(x); size != 0 && (size < 1e-6 || size >= 1e15) {
		return strconv.FormatFloat(x, 'e', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// four prints four decimals, for lb/ft³.
func four(x float64) string { return strconv.FormatFloat(x, 'f', 4, 64) }
