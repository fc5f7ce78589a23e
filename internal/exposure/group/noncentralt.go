package group

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// NoncentralT is the distribution of (Z + Delta)/√(χ²/DF), Z standard normal and
// χ² with DF degrees of freedom, independent of each other.
//
//	P(T ≤ t) = ∫₀^∞ Φ(t·s − Delta)·g(s) ds,  s = √(χ²/DF)
//	ln g(s)  = ln 2 + (ν/2)·ln(ν/2) − ln Γ(ν/2) + (ν−1)·ln s − ν·s²/2,  ν = DF
//
// Every part of the integrand is positive and its logarithm concave, so nothing
// cancels; the smaller tail is integrated, and keeps its relative accuracy. Source: Johnson, Kotz and
// Balakrishnan 1995, Continuous Univariate Distributions vol. 2, ch. 31.
// Domain: DF ≥ 1, Delta finite.
type NoncentralT struct {
	DF    float64
	Delta float64
}

// CDF is P(T ≤ t).
func (d NoncentralT) CDF(t float64) float64 {
	if t > d.Delta {
		return 1 - math.Exp(d.logTail(t, -1))
	}
	return math.Exp(d.logTail(t, 1))
}

// Survival is P(T > t).
func (d NoncentralT) Survival(t float64) float64 {
	if t > d.Delta {
		return math.Exp(d.logTail(t, -1))
	}
	return 1 - math.Exp(d.logTail(t, 1))
}

// logTail is ln ∫ Φ(side·(t·s − Delta))·g(s) ds: the lower tail for side 1, the
// upper for −1.
func (d NoncentralT) logTail(t, side float64) float64 {
	nu := d.DF
	logGamma, _ := math.Lgamma(nu / 2)
	constant := math.Ln2 + nu/2*math.Log(nu/2) - logGamma
	f := func(s float64) float64 {
		power := 0.0
		if nu > 1 { // at one degree of freedom the density does not vanish at 0
			power = (nu - 1) * math.Log(s)
		}
		return constant + power - nu*s*s/2 + logNormalCDF(side*(t*s-d.Delta))
	}
	// Far beyond the peak f falls at least as fast as −ν·s²/2.
	far, highest := 2.0, f(1)
	for far < 1e8 && f(far) > highest-60 {
		highest = math.Max(highest, f(far))
		far *= 2
	}
	return logIntegral(f, 0, far)
}

// Quantile is the t with P(T ≤ t) = p, 0 < p < 1.
func (d NoncentralT) Quantile(p float64) float64 {
	return bracketed(func(t float64) float64 { return d.CDF(t) - p }, d.Delta, 1+math.Abs(d.Delta)/4)
}

// logNormalCDF is ln Φ(x), also where Φ itself is too small for a float.
func logNormalCDF(x float64) float64 {
	if x > -30 {
		return math.Log(0.5 * math.Erfc(-x/math.Sqrt2))
	}
	// Asymptotic series, Abramowitz and Stegun 26.2.12; at −30 its error is 1e−11.
	r := 1 / (x * x)
	return -x*x/2 - math.Log(-x) - math.Log(2*math.Pi)/2 + math.Log1p(-r*(1-3*r*(1-5*r)))
}

func normalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

func normalCDF(x float64) float64 { return distuv.UnitNormal.CDF(x) }
