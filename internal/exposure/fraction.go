package exposure

import (
	"fmt"
	"math"
	"strings"
)

// Fraction is the part of the airborne dust that a limit or a filter sample
// means. Fractions of one air differ severalfold, so they are never mixed.
type Fraction string

// The fractions.
const (
	InhalableFraction  Fraction = "inhalable"  // EN 481/ISO 7708, up to 100 µm
	ThoracicFraction   Fraction = "thoracic"   // EN 481/ISO 7708, half at 10 µm
	RespirableFraction Fraction = "respirable" // EN 481/ISO 7708, half at 4 µm
	TotalFraction      Fraction = "total"      // what a 37 mm cassette catches; less coarse dust than inhalable
	PM25Fraction       Fraction = "PM2.5"      // ambient, half at 2.5 µm
	PM10Fraction       Fraction = "PM10"       // ambient, half at 10 µm
	NotStatedFraction  Fraction = "not_stated" // never to be taken for one of the others
)

// Fractions lists every fraction.
func Fractions() []Fraction {
	return []Fraction{InhalableFraction, ThoracicFraction, RespirableFraction, TotalFraction,
		PM25Fraction, PM10Fraction, NotStatedFraction}
}

// ParseFraction reads a fraction's name in any case. A remark in brackets, such
// as the (E) and (A) of German rules, is ignored.
func ParseFraction(s string) (Fraction, error) {
	name, _, _ := strings.Cut(s, "(")
	name = strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(strings.TrimSpace(name)))
	if name == "pm2_5" || name == "pm25" {
		return PM25Fraction, nil
	}
	var known []string
	for _, f := range Fractions() {
		if name == strings.ToLower(string(f)) {
			return f, nil
		}
		known = append(known, string(f))
	}
	return "", fmt.Errorf("unknown dust fraction %q: use one of %s", s, strings.Join(known, ", "))
}

// coarse reports whether the fraction holds, or may hold, dust that no optical
// sensor of this kind sees.
func (f Fraction) coarse() bool {
	return f != RespirableFraction && f != ThoracicFraction
}

// Largest aerodynamic diameter, in µm, for which the inhalable convention is given.
const conventionTopMicrons = 100

// Inhalable is the share of airborne particles of aerodynamic diameter d (µm)
// that is breathed in through nose and mouth:
//
//	E_I = 0.5·(1 + e^(−0.06·d)),  0 ≤ d ≤ 100
//
// Source: EN 481:1993 and ISO 7708:1995, the inhalable convention (formula from
// memory). Outside 0…100 µm the convention says nothing: the result is NaN.
func Inhalable(d float64) float64 {
	if !(d >= 0 && d <= conventionTopMicrons) {
		return math.NaN()
	}
	return 0.5 * (1 + math.Exp(-0.06*d))
}

// Thoracic is the share of airborne particles of aerodynamic diameter d (µm)
// that gets past the larynx:
//
//	E_T = E_I·[1 − F(d; 11.64 µm, 1.5)]
//
// with F the cumulative lognormal distribution by median and geometric standard
// deviation. Source: EN 481:1993, ISO 7708:1995 (constants from memory). NaN
// outside 0…100 µm.
func Thoracic(d float64) float64 { return Inhalable(d) * (1 - lognormalBelow(d, 11.64, 1.5)) }

// Respirable is the share of airborne particles of aerodynamic diameter d (µm)
// that reaches the gas-exchange region of the lung:
//
//	E_R = E_I·[1 − F(d; 4.25 µm, 1.5)]
//
// Source: EN 481:1993, ISO 7708:1995 (median and geometric standard deviation
// as published; formula from memory). NaN outside 0…100 µm.
func Respirable(d float64) float64 { return Inhalable(d) * (1 - lognormalBelow(d, 4.25, 1.5)) }

// lognormalBelow is Φ(ln(d/median)/ln gsd); 0 at d = 0.
func lognormalBelow(d, median, gsd float64) float64 {
	return 0.5 * math.Erfc(-math.Log(d/median)/math.Log(gsd)/math.Sqrt2)
}
