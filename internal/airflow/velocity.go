package airflow

import (
	"fmt"
	"math"

	"dustlog/internal/units"
)

// VelocityOf is V = √(2·VP/ρ). In standard air that is the handbooks' V = 4005·√VP
// with V in fpm and VP in in. w.g.; they take the inch of water at room temperature,
// so the conventional one used here gives 4008.6, 0.1 % more. [IV] The error wraps
// ErrInput.
func VelocityOf(vp units.Pressure, rho units.Density) (units.Velocity, error) {
	if !(vp >= 0 && rho > 0) || math.IsInf(float64(vp), 0) {
		return 0, fmt.Errorf("velocity from a velocity pressure of %s in air of %s %w: neither can be below zero", vp, rho, ErrInput)
	}
	return units.Velocity(math.Sqrt(2 * float64(vp) / float64(rho))), nil
}

// VelocityPressure is VP = ρ/2·V².
func VelocityPressure(v units.Velocity, rho units.Density) units.Pressure {
	return units.Pressure(float64(rho) / 2 * float64(v) * float64(v))
}
