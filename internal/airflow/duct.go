package airflow

import (
	"errors"
	"fmt"
	"math"

	"dustlog/internal/units"
)

// ErrInput marks values that nothing can be worked out from.
var ErrInput = errors.New("cannot be worked out")

// Duct is one cross-section: round if Diameter is set, else rectangular.
type Duct struct {
	Diameter      units.Length
	Width, Height units.Length
}

// Area is the cross-section: π/4·D² or width·height. The error wraps ErrInput.
func (d Duct) Area() (units.Area, error) {
	switch {
	case d.Diameter > 0 && d.Width == 0 && d.Height == 0:
		return units.Area(math.Pi / 4 * float64(d.Diameter) * float64(d.Diameter)), nil
	case d.Diameter == 0 && d.Width > 0 && d.Height > 0:
		return units.Area(float64(d.Width) * float64(d.Height)), nil
	}
	return 0, fmt.Errorf("the duct's cross-section %w: give its diameter, or width and height", ErrInput)
}

// Flow is Q = V·A.
func Flow(v units.Velocity, a units.Area) units.Flow { return units.Flow(float64(v) * float64(a)) }

// Speed is V = Q/A.
func Speed(q units.Flow, a units.Area) units.Velocity { return units.Velocity(float64(q) / float64(a)) }
