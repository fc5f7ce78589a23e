package units

// Area is an area, in m².
type Area float64

var areas = quantity{
	what: "area", examples: `"10 m2" or "110 ft2"`, least: 0, above: true,
	units: []unit{
		{names: "m2 sqm", si: 1},
		{names: "cm2 sqcm", si: 1e-4},
		{names: "ft2 sqft", si: m2PerFt2},
		{names: "in2 sqin", si: m2PerIn2},
	},
}

// ParseArea reads as in "10 m2" or "110 ft2". Errors wrap ErrUnit.
func ParseArea(s string) (Area, error) {
	x, err := areas.parse(s)
	return Area(x), err
}

// UnmarshalText is ParseArea, for configuration files.
func (x *Area) UnmarshalText(text []byte) (err error) {
	*x, err = ParseArea(string(text))
	return err
}

// Ft2 is the area in square feet.
func (x Area) Ft2() float64 { return float64(x) / m2PerFt2 }

// Ft2 is an area of so many square feet.
func Ft2(x float64) Area { return Area(x * m2PerFt2) }

// SI, US and String print it, as in "0.018 m² (0.196 ft²)".
func (x Area) SI() string     { return figures(float64(x)) + " m²" }
func (x Area) US() string     { return figures(x.Ft2()) + " ft²" }
func (x Area) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"m2": …, "ft2": …}.
func (x Area) MarshalJSON() ([]byte, error) { return pair("m2", float64(x), "ft2", x.Ft2()) }

// Volume is a volume, in m³.
type Volume float64

var volumes = quantity{
	what: "volume", examples: `"120 m3" or "4200 ft3"`, least: 0, above: true,
	units: []unit{
		{names: "m3", si: 1},
		{names: "ft3 cuft", si: m3PerFt3},
	},
}

// ParseVolume reads as in "120 m3" or "4200 ft3". Errors wrap ErrUnit.
func ParseVolume(s string) (Volume, error) {
	x, err := volumes.parse(s)
	return Volume(x), err
}

// UnmarshalText is ParseVolume, for configuration files.
func (x *Volume) UnmarshalText(text []byte) (err error) {
	*x, err = ParseVolume(string(text))
	return err
}

// Ft3 is the volume in cubic feet.
func (x Volume) Ft3() float64 { return float64(x) / m3PerFt3 }

// SI, US and String print it, as in "120 m³ (4238 ft³)".
func (x Volume) SI() string     { return figures(float64(x)) + " m³" }
func (x Volume) US() string     { return figures(x.Ft3()) + " ft³" }
func (x Volume) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"m3": …, "ft3": …}.
func (x Volume) MarshalJSON() ([]byte, error) { return pair("m3", float64(x), "ft3", x.Ft3()) }
