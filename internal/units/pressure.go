package units

import "math"

// Pressure is a pressure, below zero on the suction side, in Pa.
type Pressure float64

var pressures = quantity{
	what: "pressure", examples: `"250 Pa", "-4.2 in. w.g." or "1.1 kPa"`, least: math.Inf(-1), above: false,
	units: []unit{
		{names: "pa", si: 1},
		{names: "hpa mbar", si: 100},
		{names: "kpa", si: 1000},
		{names: "inwg inwc inh2o inchwg incheswg inchesofwater inchofwater", si: paPerInWG},
		{names: "mmwg mmwc mmh2o mmws", si: paPerMMWG},
	},
}

// ParsePressure reads as in "250 Pa" or "-4.2 in. w.g.". Errors wrap ErrUnit.
func ParsePressure(s string) (Pressure, error) {
	x, err := pressures.parse(s)
	return Pressure(x), err
}

// UnmarshalText is ParsePressure, for configuration files.
func (x *Pressure) UnmarshalText(text []byte) (err error) {
	*x, err = ParsePressure(string(text))
	return err
}

// ParsePressures reads several with one unit, as in "0.52 0.61 0.44 in. w.g.".
func ParsePressures(s string) ([]Pressure, error) { return listOf[Pressure](pressures, s) }

// InWG is the pressure in conventional inches of water gauge, 249.0889 Pa each.
func (x Pressure) InWG() float64 { return float64(x) / paPerInWG }

// InWG is a pressure of so many conventional inches of water gauge.
func InWG(x float64) Pressure { return Pressure(x * paPerInWG) }

// SI, US and String print it, as in "249 Pa (1.00 in. w.g.)".
func (x Pressure) SI() string     { return figures(float64(x)) + " Pa" }
func (x Pressure) US() string     { return figures(x.InWG()) + " in. w.g." }
func (x Pressure) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"pa": …, "in_wg": …}.
func (x Pressure) MarshalJSON() ([]byte, error) { return pair("pa", float64(x), "in_wg", x.InWG()) }
