package units

// Velocity is the speed of air, in m/s.
type Velocity float64

var velocities = quantity{
	what: "velocity", examples: `"20 m/s" or "4000 fpm"`, least: 0, above: false,
	units: []unit{
		{names: "m/s", si: 1},
		{names: "fpm ft/min", si: msPerFPM},
	},
}

// ParseVelocity reads as in "20 m/s" or "4000 fpm". Errors wrap ErrUnit.
func ParseVelocity(s string) (Velocity, error) {
	x, err := velocities.parse(s)
	return Velocity(x), err
}

// UnmarshalText is ParseVelocity, for configuration files.
func (x *Velocity) UnmarshalText(text []byte) (err error) {
	*x, err = ParseVelocity(string(text))
	return err
}

// ParseVelocities reads several with one unit, as in "18.2 19.5 20.1 m/s".
func ParseVelocities(s string) ([]Velocity, error) { return listOf[Velocity](velocities, s) }

// FPM is the velocity in feet per minute.
func (x Velocity) FPM() float64 { return float64(x) / msPerFPM }

// FPM is a velocity of so many feet per minute.
func FPM(x float64) Velocity { return Velocity(x * msPerFPM) }

// SI, US and String print it, as in "20.3 m/s (4000 fpm)".
func (x Velocity) SI() string     { return figures(float64(x)) + " m/s" }
func (x Velocity) US() string     { return figures(x.FPM()) + " fpm" }
func (x Velocity) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"m_s": …, "fpm": …}.
func (x Velocity) MarshalJSON() ([]byte, error) { return pair("m_s", float64(x), "fpm", x.FPM()) }
