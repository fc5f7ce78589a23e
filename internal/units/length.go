package units

// Length is a length, in m.
type Length float64

var lengths = quantity{
	what: "length", examples: `"150 mm", "6 in" or "3.5 m"`, least: 0, above: true,
	units: []unit{
		{names: "m", si: 1},
		{names: "mm", si: 1e-3},
		{names: "cm", si: 1e-2},
		{names: "in inch inches \"", si: metresPerInch},
		{names: "ft foot feet", si: metresPerFoot},
	},
}

// ParseLength reads as in "150 mm", "6 in" or "2 1/2 in". Errors wrap ErrUnit.
func ParseLength(s string) (Length, error) {
	x, err := lengths.parse(s)
	return Length(x), err
}

// UnmarshalText is ParseLength, for configuration files.
func (x *Length) UnmarshalText(text []byte) (err error) {
	*x, err = ParseLength(string(text))
	return err
}

// MM is the length in mm, Inches in inches.
func (x Length) MM() float64     { return float64(x) * 1e3 }
func (x Length) Inches() float64 { return float64(x) / metresPerInch }

// Inches is a length of so many inches.
func Inches(x float64) Length { return Length(x * metresPerInch) }

// SI, US and String print it, as in "152 mm (6.00 in)".
func (x Length) SI() string     { return figures(x.MM()) + " mm" }
func (x Length) US() string     { return figures(x.Inches()) + " in" }
func (x Length) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"mm": …, "in": …}.
func (x Length) MarshalJSON() ([]byte, error) { return pair("mm", x.MM(), "in", x.Inches()) }
