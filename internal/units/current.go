package units

import "math"

// Current is an electric current, in A.
type Current float64

var currents = quantity{
	what: "current", examples: `"8.5 A"`, least: 0, above: false,
	units: []unit{
		{names: "a amp amps", si: 1},
		{names: "ma", si: 1e-3},
	},
}

// ParseCurrent reads as in "8.5 A". Errors wrap ErrUnit.
func ParseCurrent(s string) (Current, error) {
	x, err := currents.parse(s)
	return Current(x), err
}

// UnmarshalText is ParseCurrent, for configuration files.
func (x *Current) UnmarshalText(text []byte) (err error) {
	*x, err = ParseCurrent(string(text))
	return err
}

// String prints it, as in "8.50 A".
func (x Current) String() string { return figures(float64(x)) + " A" }

// MarshalJSON gives a number of amperes; the key tells the unit.
func (x Current) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
		return []byte("null"), nil
	}
	return []byte(exact(float64(x))), nil
}
