package units

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// ErrUnit marks what could not be read as a quantity.
var ErrUnit = errors.New("cannot be read")

// unit is one way to write a quantity: its names, folded, and what one of it is in
// the SI unit. A temperature also has a zero.
type unit struct {
	names string // with spaces between them
	si    float64
	zero  float64
}

// quantity says how one quantity is read.
type quantity struct {
	what     string
	examples string
	units    []unit
	least    float64 // in the SI unit
	above    bool    // and least itself cannot be
}

// plain folds what is written in many ways: case, dots, spaces, raised digits.
var plain = strings.NewReplacer("²", "2", "³", "3", "^", "", ".", "", " ", "", "\t", "", "″", `"`, "”", `"`, "°", "")

func (q quantity) unit(name string) (unit, bool) {
	name = plain.Replace(strings.ToLower(name))
	for _, u := range q.units {
		for known := range strings.FieldsSeq(u.names) {
			if known == name {
				return u, true
			}
		}
	}
	return unit{}, false
}

// cut splits a text into its numbers and its unit: the shortest end that names one
// and stands behind a digit.
func (q quantity) cut(s string) (numbers string, u unit, err error) {
	const longest = 24 // bytes of a unit, spaces included
	for i := len(s) - 1; i > max(0, len(s)-longest); i-- {
		before := strings.TrimRight(s[:i], " \t")
		if before == "" || before[len(before)-1] < '0' || before[len(before)-1] > '9' {
			continue
		}
		if u, ok := q.unit(s[i:]); ok {
			return before, u, nil
		}
	}
	name := strings.TrimSpace(strings.TrimLeft(s, "+-−0123456789.,;/ \t"))
	if name == "" {
		return "", u, fmt.Errorf("%s %q has no unit, so it %w: write it as in %s", q.what, s, ErrUnit, q.examples)
	}
	return "", u, fmt.Errorf("%s %q %w: unit %q is not known here; write it as in %s", q.what, s, ErrUnit, name, q.examples)
}

// parse reads one number with its unit.
func (q quantity) parse(s string) (float64, error) {
	number, u, err := q.cut(s)
	if err != nil {
		return 0, err
	}
	return q.value(s, number, u)
}

// parseList reads numbers with spaces or semicolons between them and one unit behind
// the last, as in "0.52 0.61 0.44 in. w.g.".
func (q quantity) parseList(s string) ([]float64, error) {
	numbers, u, err := q.cut(s)
	if err != nil {
		return nil, err
	}
	var list []float64
	for number := range strings.FieldsSeq(strings.ReplaceAll(numbers, ";", " ")) {
		x, err := q.value(s, strings.TrimSuffix(number, ","), u)
		if err != nil {
			return nil, err
		}
		list = append(list, x)
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("%s %q %w: there is no number; write it as in %s", q.what, s, ErrUnit, q.examples)
	}
	return list, nil
}

// value turns one number into the SI unit.
func (q quantity) value(s, number string, u unit) (float64, error) {
	x, err := parseNumber(number)
	if err != nil {
		return 0, fmt.Errorf("%s %q %w: %q is no number; write it as in %s", q.what, s, ErrUnit, strings.TrimSpace(number), q.examples)
	}
	x = x*u.si + u.zero
	switch {
	case math.IsInf(x, 0):
		return 0, fmt.Errorf("%s %q %w: it is too large", q.what, s, ErrUnit)
	case q.above && x <= q.least:
		return 0, fmt.Errorf("%s %q %w: it must be above zero", q.what, s, ErrUnit)
	case x < q.least:
		return 0, fmt.Errorf("%s %q %w: it is below the lowest that can be", q.what, s, ErrUnit)
	}
	return x, nil
}

// both prints a quantity in two units, the SI one first.
func both(si, us string) string { return si + " (" + us + ")" }

// pair is a quantity in JSON: the same value under a key for each unit. Go's encoder
// refuses what is not finite; null stands for it.
func pair(siKey string, si float64, usKey string, us float64) ([]byte, error) {
	if math.IsNaN(si) || math.IsInf(si, 0) {
		return []byte("null"), nil
	}
	return fmt.Appendf(nil, `{%q:%s,%q:%s}`, siKey, exact(si), usKey, exact(us)), nil
}

// listOf reads a list as one type.
func listOf[T ~float64](q quantity, s string) ([]T, error) {
	list, err := q.parseList(s)
	out := make([]T, len(list))
	for i, x := range list {
		out[i] = T(x)
	}
	return out, err
}
