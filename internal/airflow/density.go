package airflow

import (
	"fmt"
	"math"

	"dustlog/internal/units"
)

// StandardDensity is that of the standard air of ventilation handbooks, 0.075 lb/ft³:
// 70 °F, 29.92 in. Hg, dry. [IV], [OTM]
var StandardDensity = units.LbFt3(0.075)

// seaLevel is the standard atmosphere, 101 325 Pa.
const seaLevel = units.Pressure(101325)

// Air is the state of the air in a duct.
type Air struct {
	Temperature units.Temperature
	Pressure    units.Pressure // absolute
	Humidity    float64        // relative, in percent
}

// Density is that of moist air as a mixture of ideal gases:
//
//	ρ = (p − e)/(Rd·T) + e/(Rv·T)
//
// with e the vapour's pressure, Rd 287.05 and Rv 461.52 J/(kg·K). The saturation
// pressure over water is 611.2 Pa·exp(17.62·t/(243.12 + t)), t in °C (WMO Guide to
// Instruments 2008, annex 4.B, from memory). It leaves out compressibility, 0.04 %.
// Holds from −40 to 100 °C and 50 to 120 kPa. The error wraps ErrInput.
func (a Air) Density() (units.Density, error) {
	const dry, vapour = 287.05, 461.52
	t, p := float64(a.Temperature), float64(a.Pressure)
	if !(t >= -40 && t <= 100 && p >= 50e3 && p <= 120e3 && a.Humidity >= 0 && a.Humidity <= 100) {
		return 0, fmt.Errorf("density of air at %s, %s and %g %% humidity %w: outside of −40 to 100 °C, 50 to 120 kPa, 0 to 100 %%", a.Temperature, a.Pressure.SI(), a.Humidity, ErrInput)
	}
	e := a.Humidity / 100 * 611.2 * math.Exp(17.62*t/(243.12+t))
	if e >= p {
		return 0, fmt.Errorf("density of air %w: the vapour's pressure is above the air's", ErrInput)
	}
	kelvin := a.Temperature.Kelvin()
	return units.Density((p-e)/(dry*kelvin) + e/(vapour*kelvin)), nil
}

// PressureAt is the standard atmosphere's pressure at an altitude in m, up to 11 km:
// 101 325·(1 − 2.25577·10⁻⁵·h)^5.25588 Pa. ISO 2533:1975, from memory.
func PressureAt(metres float64) units.Pressure {
	return units.Pressure(float64(seaLevel) * math.Pow(1-2.25577e-5*metres, 5.25588))
}
