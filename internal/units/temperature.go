package units

// Temperature is a temperature, in °C.
type Temperature float64

var temperatures = quantity{
	what: "temperature", examples: `"20 °C" or "68 °F"`, least: -kelvinZero, above: false,
	units: []unit{
		{names: "c cel", si: 1},
		{names: "f", si: 5.0 / 9, zero: -160.0 / 9},
		{names: "k", si: 1, zero: -kelvinZero},
	},
}

// ParseTemperature reads as in "20 °C" or "68 °F". Errors wrap ErrUnit.
func ParseTemperature(s string) (Temperature, error) {
	x, err := temperatures.parse(s)
	return Temperature(x), err
}

// UnmarshalText is ParseTemperature, for configuration files.
func (x *Temperature) UnmarshalText(text []byte) (err error) {
	*x, err = ParseTemperature(string(text))
	return err
}

// F is the temperature in degrees Fahrenheit.
func (x Temperature) F() float64 { return float64(x)*9/5 + 32 }

// Kelvin is the temperature in K.
func (x Temperature) Kelvin() float64 { return float64(x) + kelvinZero }

// SI, US and String print it, as in "20.0 °C (68.0 °F)".
func (x Temperature) SI() string     { return figures(float64(x)) + " °C" }
func (x Temperature) US() string     { return figures(x.F()) + " °F" }
func (x Temperature) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"c": …, "f": …}.
func (x Temperature) MarshalJSON() ([]byte, error) { return pair("c", float64(x), "f", x.F()) }
