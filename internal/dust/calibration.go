package dust

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Calibration is one check or calibration of a sensor, as it was worked out. A
// record is never changed: a better one is added, a wrong one retired.
type Calibration struct {
	ID       int64           `json:"id"` // given by the store
	Kind     CalibrationKind `json:"kind"`
	Sensor   string          `json:"sensor"` // for several side by side: the reference
	Made     time.Time       `json:"made"`   // when it was entered
	From     time.Time       `json:"from"`   // the readings it rests on
	To       time.Time       `json:"to"`
	Metric   string          `json:"metric,omitempty"`   // channel it holds for, as Channel.Metric
	Fraction string          `json:"fraction,omitempty"` // of dust, "" where that means nothing
	Material string          `json:"material,omitempty"`
	Task     string          `json:"task,omitempty"`
	Season   string          `json:"season,omitempty"`
	// Valid and Expires bound the days whose shifts a factor may be used for; zero
	// means open.
	Valid   time.Time `json:"valid,omitzero"`
	Expires time.Time `json:"expires,omitzero"`
	Numbers string    `json:"numbers"` // JSON, by kind
	Note    string    `json:"note,omitempty"`

	Retired    time.Time `json:"retired,omitzero"` // zero while it may be used
	RetiredWhy string    `json:"retired_why,omitempty"`
}

// CalibrationKind says what was calibrated.
type CalibrationKind string

// The kinds.
const (
	ZeroCalibration   CalibrationKind = "zero"        // a sensor in filtered air
	SideBySide        CalibrationKind = "collocation" // sensors in the same air
	FilterCalibration CalibrationKind = "filter"      // one filter sample beside a sensor
	FactorCalibration CalibrationKind = "factor"      // a factor from several of them
)

// CalibrationKinds lists the kinds.
func CalibrationKinds() []CalibrationKind {
	return []CalibrationKind{ZeroCalibration, SideBySide, FilterCalibration, FactorCalibration}
}

// ErrUnknownCalibration says that there is no calibration of that number.
var ErrUnknownCalibration = errors.New("no such calibration")

// InUse reports whether the calibration has not been retired.
func (c Calibration) InUse() bool { return c.Retired.IsZero() }

// Check reports what is wrong with a calibration that is to be stored.
func (c Calibration) Check() error {
	switch {
	case !slices.Contains(CalibrationKinds(), c.Kind):
		return fmt.Errorf("calibration of unknown kind %q", c.Kind)
	case strings.TrimSpace(c.Sensor) == "":
		return errors.New("calibration has no sensor")
	case c.Made.IsZero() || c.From.IsZero() || c.To.IsZero():
		return errors.New("calibration has no time")
	case c.To.Before(c.From):
		return fmt.Errorf("calibration of sensor %q: %w", c.Sensor, ErrTimeBackwards)
	case c.Numbers == "":
		return fmt.Errorf("calibration of sensor %q has no numbers", c.Sensor)
	}
	return nil
}
