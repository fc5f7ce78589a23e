package efficiency

import (
	"fmt"
	"strconv"
	"strings"

	"dustlog/internal/units"
)

type unit struct {
	suffix string
	factor float64
}

// ParseSampleFlow reads the air that a sensor looks at, as in "2.83 L/min", and
// returns cm³/s.
func ParseSampleFlow(s string) (cm3PerSecond float64, err error) {
	return parseFlow(s, "\"2.83 L/min\", \"100 mL/min\" or \"5 cm3/s\"", []unit{
		{"ml/min", 1.0 / 60}, {"l/min", 1000.0 / 60}, {"cm3/s", 1}, {"cm³/s", 1},
	})
}

// ParseDuctFlow reads the air through a filter, as in "800 m3/h" or "470 cfm", and
// returns m³/h.
func ParseDuctFlow(s string) (m3PerHour float64, err error) {
	q, err := units.ParseFlow(s)
	if err == nil && q == 0 {
		err = fmt.Errorf("flow %q: it must be above zero", s)
	}
	return q.M3H(), err
}

func parseFlow(s, examples string, units []unit) (float64, error) {
	text := strings.ToLower(strings.TrimSpace(s))
	for _, u := range units {
		number, ok := strings.CutSuffix(text, u.suffix)
		if !ok {
			continue
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !(x > 0) || !finite(x) {
			return 0, fmt.Errorf("flow %q: %q is not a number above zero", s, strings.TrimSpace(number))
		}
		return x * u.factor, nil
	}
	return 0, fmt.Errorf("flow %q has no unit: write it as in %s", s, examples)
}
