package calibrate

import (
	"fmt"
	"math"
)

// Drift is how far two sensors moved apart between two collocations.
type Drift struct {
	Sensor    string  `json:"sensor"`
	Reference string  `json:"reference"`
	Change    float64 `json:"gain_change"` // gain after / gain before
	// U is the standard uncertainty, in ln units, that the drift adds to a ratio
	// measured between the two collocations, and DF its degrees of freedom.
	U  float64 `json:"u_ln"`
	DF float64 `json:"df"`
}

// DriftBetween compares the gains (slopes) of two collocations of the same two
// sensors, one before and one after a study:
//
//	d = ln b₂ − ln b₁
//	u² = d²/3 + (se₁/b₁)² + (se₂/b₂)²
//	df by Welch–Satterthwaite over the two standard errors
//
// When in the study the gain moved is not known, so the error is anywhere
// between −|d| and |d|: a rectangular distribution of that half width, standard
// uncertainty |d|/√3 (JCGM 100:2008, 4.3.7 and G.4). Which of the two sensors
// moved is not known either. u and df go into compare.WidenForDrift.
func DriftBetween(before, after Line) (Drift, error) {
	for _, l := range []Line{before, after} {
		if !(l.Slope > 0) || !(l.SlopeSE >= 0) || !finite(l.Slope) || !finite(l.SlopeSE) || l.DF < 1 {
			return Drift{}, fmt.Errorf("drift: a slope of %g ± %g is no gain", l.Slope, l.SlopeSE)
		}
	}
	d := Drift{Change: after.Slope / before.Slope}
	moved := math.Log(d.Change)
	v1, v2 := square(before.SlopeSE/before.Slope), square(after.SlopeSE/after.Slope)
	variance := moved*moved/3 + v1 + v2
	d.U = math.Sqrt(variance)
	d.DF = effectiveDF(variance, term{v1, float64(before.DF)}, term{v2, float64(after.DF)})
	return d, nil
}

// term is one part of a variance and its degrees of freedom.
type term struct{ variance, df float64 }

// effectiveDF is the Welch–Satterthwaite formula ν = u⁴/Σ(uᵢ⁴/νᵢ); parts that
// are not listed are taken as known. Source: JCGM 100:2008, G.4.1. At most a
// million, which is as good as infinite and fits into JSON.
func effectiveDF(variance float64, terms ...term) float64 {
	const most = 1e6
	sum := 0.0
	for _, t := range terms {
		sum += t.variance * t.variance / t.df
	}
	if sum == 0 {
		return most
	}
	return math.Min(most, variance*variance/sum)
}

func square(x float64) float64 { return x * x }
