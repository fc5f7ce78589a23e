package airflow

import (
	"time"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// MotorCheck is a motor's current held against the one on its plate.
type MotorCheck struct {
	Blower    string         `json:"blower"` // "" for the only one
	At        time.Time      `json:"at,omitzero"`
	Current   units.Current  `json:"current_a"` // the latest
	Highest   units.Current  `json:"highest_a"`
	HighestAt time.Time      `json:"highest_at,omitzero"`
	Rated     *units.Current `json:"rated_a"`
	Percent   *float64       `json:"percent_of_rated"` // of the latest
	Over      bool           `json:"over_rating"`      // the highest is
	Answer    words.Text     `json:"answer"`
}

// StopCurrent is the line at which this program has nothing more to say.
func StopCurrent() words.Text {
	return words.Of("switch it off and ask an electrician; do not reset or change a protection to keep it running")
}

// CheckMotor compares the latest current and the highest one with the plate's; rated
// nil: not known. A current that was once above it does not count as gone since the
// next one is not.
func CheckMotor(latest, highest units.Current, rated *units.Current) MotorCheck {
	highest = max(latest, highest)
	m := MotorCheck{Current: latest, Highest: highest, Rated: rated}
	if rated == nil || !(*rated > 0) {
		m.Rated, m.Answer = nil, words.Of("cannot tell: the rated current is not in the record; it stands on the motor's plate")
		return m
	}
	m.Percent = ptr(100 * float64(latest/(*rated)))
	switch {
	case latest > *rated:
		m.Over = true
		m.Answer = words.Of("%s is above the rated %s: %s", latest, *rated, StopCurrent())
	case highest > *rated:
		m.Over = true
		m.Answer = words.Of("%.0f %% of the rated %s, but it was %s before, above it: %s", *m.Percent, *rated, highest, StopCurrent())
	default:
		m.Answer = words.Of("%.0f %% of the rated %s", *m.Percent, *rated)
	}
	return m
}

// motors checks each blower that a current was read on.
func (c Collector) motors(gauges []Gauge) (list []MotorCheck) {
	type seen struct{ latest, highest Gauge }
	motors := map[string]*seen{}
	var names []string
	for _, g := range gauges {
		if g.Kind != CurrentGauge {
			continue
		}
		name := g.Place
		if len(c.Blowers) == 1 {
			name = "" // there is no choice
		}
		m := motors[name]
		if m == nil {
			m = &seen{highest: g}
			motors[name] = m
			names = append(names, name)
		}
		m.latest = g
		if *g.Current >= *m.highest.Current {
			m.highest = g
		}
	}
	for _, name := range names {
		m := motors[name]
		check := CheckMotor(*m.latest.Current, *m.highest.Current, c.ratedCurrent(name))
		check.Blower, check.At, check.HighestAt = name, m.latest.At, m.highest.At
		if name != "" {
			check.Answer = words.Of("blower %s: %s", name, check.Answer)
		}
		list = append(list, check)
	}
	return list
}
