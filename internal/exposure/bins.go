package exposure

import (
	"fmt"
	"math"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// SizeBin is the number of particles between two diameters, as a sensor counts
// them: the diameter of a calibration sphere that scatters as much light.
type SizeBin struct {
	FromUm float64 `json:"from_um"`
	ToUm   float64 `json:"to_um"`
	PerCm3 float64 `json:"per_cm3"`
}

// Particles is what must be assumed to turn counts into mass.
type Particles struct {
	DensityGCm3 float64 `json:"density_g_cm3"` // of the particles: cell wall of wood 1.5, whole dry wood 0.35 to 0.9 (from memory)
	ShapeFactor float64 `json:"shape_factor"`  // dynamic, χ: 1 for spheres, above 1 for splinters
}

// Check says what is wrong with the assumptions.
func (p Particles) Check() error {
	if !(p.DensityGCm3 >= 0.1 && p.DensityGCm3 <= 10) {
		return fmt.Errorf("particle density %g g/cm³: give 0.1 to 10", p.DensityGCm3)
	}
	if !(p.ShapeFactor >= 1 && p.ShapeFactor <= 5) {
		return fmt.Errorf("shape factor %g: give 1 (spheres) to 5", p.ShapeFactor)
	}
	return nil
}

// Aerodynamic is the aerodynamic diameter, in µm, of a particle of volume
// equivalent diameter d µm:
//
//	d_ae = d·√(ρ / (ρ0·χ)),  ρ0 = 1 g/cm³
//
// without slip correction, which matters below about 1 µm. Source: Hinds,
// Aerosol Technology, section 3.6 (from memory).
func (p Particles) Aerodynamic(d float64) float64 {
	return d * math.Sqrt(p.DensityGCm3/p.ShapeFactor)
}

// BinMass is what the particles of a bin weigh, in µg/m³, in all and by the
// sampling conventions.
type BinMass struct {
	SizeBin
	All        float64 `json:"mass_ug_m3"`
	Inhalable  float64 `json:"inhalable_ug_m3"`
	Thoracic   float64 `json:"thoracic_ug_m3"`
	Respirable float64 `json:"respirable_ug_m3"`
}

// Mass turns a bin's number into mass:
//
//	m = N·ρ·(π/6)·⟨d³·E(d_ae)⟩
//
// with N per cm³, ρ in g/cm³, d in µm and m in µg/m³; E is 1 or a convention of
// EN 481. The mean is over ln d, evenly between the bin's edges: how particles lie
// inside a bin is not known. Source of the sphere's mass: geometry; 1000 per cm³ of
// 1 µm at 1.5 g/cm³ are 785 µg/m³. The error wraps nothing: edges must rise from
// above zero, and the number must not be below zero.
func (p Particles) Mass(b SizeBin) (BinMass, error) {
	m := BinMass{SizeBin: b}
	if err := p.Check(); err != nil {
		return m, err
	}
	if !(b.FromUm > 0 && b.ToUm > b.FromUm && b.ToUm <= conventionTopMicrons) || !(b.PerCm3 >= 0) || !finite(b.PerCm3) {
		return m, fmt.Errorf("size bin from %g to %g µm with %g particles per cm³: edges must rise from above 0 to at most 100 µm, the number must be zero or more", b.FromUm, b.ToUm, b.PerCm3)
	}
	const steps = 200 // midpoints; enough for five figures in the widest bin in use
	width := math.Log(b.ToUm/b.FromUm) / steps
	for i := range steps {
		d := b.FromUm * math.Exp((float64(i)+0.5)*width)
		mass := b.PerCm3 * p.DensityGCm3 * math.Pi / 6 * d * d * d / steps
		ae := min(p.Aerodynamic(d), conventionTopMicrons)
		m.All += mass
		m.Inhalable += mass * Inhalable(ae)
		m.Thoracic += mass * Thoracic(ae)
		m.Respirable += mass * Respirable(ae)
	}
	return m, nil
}

// Standing says what a channel's mass is worth as a fraction of the dust, and in
// which direction it errs in wood dust.
type Standing struct {
	Errs string     `json:"errs"` // "low", "very low", "either way"
	Why  words.Text `json:"why"`
}

// StandsFor says it for a mass channel of an optical sensor. Sources: EN 481 for the
// fractions; Kuula et al. 2020 (AMT 13, 2413) for what the sensors see; published
// surveys of wood shops for how much is coarse (respirable 12 to 31 % of inhalable).
func StandsFor(c dust.Channel, f Fraction) (Standing, error) {
	if !c.IsMass() {
		return Standing{}, fmt.Errorf("%s is no mass of dust", c.Label())
	}
	size := plainText(c)
	switch f {
	case InhalableFraction, TotalFraction, NotStatedFraction:
		return Standing{"very low", words.Of("%s leaves out most of the mass of wood dust, which lies at 10 to 70 µm: commonly 2 to 15 %% is left, and the share moves sevenfold with task and species", size)}, nil
	case ThoracicFraction:
		if c == dust.PM10 || c == dust.PM10Atm {
			return Standing{"either way", words.Of("PM10 is near the thoracic fraction by its sizes, but an optical sensor extrapolates it from finer particles")}, nil
		}
		return Standing{"low", words.Of("%s leaves out what the thoracic fraction holds above its size", size)}, nil
	case RespirableFraction:
		switch c {
		case dust.PM4:
			return Standing{"either way", words.Of("PM4 is near the respirable fraction by its sizes, but the sensor extrapolates it from finer particles")}, nil
		case dust.PM10, dust.PM10Atm:
			return Standing{"either way", words.Of("PM10 holds more than the respirable fraction by its sizes, and an optical sensor extrapolates it from finer particles")}, nil
		case dust.PM1, dust.PM1Atm:
			return Standing{"low", words.Of("PM1 leaves out what the respirable fraction holds from 1 to 10 µm")}, nil
		}
		return Standing{"low", words.Of("PM2.5 leaves out what the respirable fraction holds from 2.5 to 10 µm; where all dust is finer, it is at most a fifth too high")}, nil
	}
	return Standing{"either way", words.Of("both are fractions of ambient air; what an optical sensor calls %s is an estimate by light", size)}, nil
}
