package airflow

import (
	"fmt"

	"dustlog/internal/units"
)

// MotorCheck is a motor's current held against the one on its plate.
type MotorCheck struct {
	Current units.Current  `json:"current_a"`
	Rated   *units.Current `json:"rated_a"`
	Percent *float64       `json:"percent_of_rated"`
	Over    bool           `json:"over_rating"`
	Answer  string         `json:"answer"`
}

// StopCurrent is the line at which this program has nothing more to say.
const StopCurrent = "switch it off and ask an electrician; do not reset or change a protection to keep it running"

// CheckMotor compares; rated nil: not known.
func CheckMotor(current units.Current, rated *units.Current) MotorCheck {
	m := MotorCheck{Current: current, Rated: rated}
	if rated == nil || !(*rated > 0) {
		m.Rated, m.Answer = nil, CannotTell+": the rated current is not in the record; it stands on the motor's plate"
		return m
	}
	m.Percent = ptr(100 * float64(current/(*rated)))
	switch {
	case current > *rated:
		m.Over = true
		m.Answer = fmt.Sprintf("%s is above the rated %s: %s", current, *rated, StopCurrent)
	default:
		m.Answer = fmt.Sprintf("%.0f %% of the rated %s", *m.Percent, *rated)
	}
	return m
}
