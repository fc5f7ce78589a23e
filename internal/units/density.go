package units

// Density is the mass of air in a volume, in kg/m³.
type Density float64

var densities = quantity{
	what: "density", examples: `"1.2 kg/m3" or "0.075 lb/ft3"`, least: 0, above: true,
	units: []unit{
		{names: "kg/m3", si: 1},
		{names: "lb/ft3", si: kgm3PerLb},
	},
}

// ParseDensity reads as in "1.2 kg/m3" or "0.075 lb/ft3". Errors wrap ErrUnit.
func ParseDensity(s string) (Density, error) {
	x, err := densities.parse(s)
	return Density(x), err
}

// UnmarshalText is ParseDensity, for configuration files.
func (x *Density) UnmarshalText(text []byte) (err error) {
	*x, err = ParseDensity(string(text))
	return err
}

// LbFt3 is the density in pounds per cubic foot.
func (x Density) LbFt3() float64 { return float64(x) / kgm3PerLb }

// LbFt3 is a density of so many pounds per cubic foot.
func LbFt3(x float64) Density { return Density(x * kgm3PerLb) }

// SI, US and String print it, as in "1.20 kg/m³ (0.0750 lb/ft³)".
func (x Density) SI() string     { return figures(float64(x)) + " kg/m³" }
func (x Density) US() string     { return four(x.LbFt3()) + " lb/ft³" }
func (x Density) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"kg_m3": …, "lb_ft3": …}.
func (x Density) MarshalJSON() ([]byte, error) { return pair("kg_m3", float64(x), "lb_ft3", x.LbFt3()) }
