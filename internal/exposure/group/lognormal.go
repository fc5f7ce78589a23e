package group

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// Lognormal is the lognormal distribution that the shifts are taken to follow.
type Lognormal struct {
	N    int     // shifts
	Mean float64 // ȳ, mean of ln(mg/m³)
	SD   float64 // s, standard deviation of ln(mg/m³), divisor n−1
}

// FitLognormal takes ȳ and s of the logarithms. Every value must be above zero;
// one value has no spread, so s is NaN.
func FitLognormal(mgM3 []float64) (Lognormal, error) {
	if len(mgM3) == 0 {
		return Lognormal{}, TooFewError{Need: 1}
	}
	y := make([]float64, len(mgM3))
	for i, x := range mgM3 {
		if !positive(x) {
			return Lognormal{}, fmt.Errorf("%g mg/m³: %w", x, ErrNotPositive)
		}
		y[i] = math.Log(x)
	}
	return fitLogs(y), nil
}

func fitLogs(y []float64) Lognormal {
	mean, sd := stat.MeanStdDev(y, nil)
	return Lognormal{N: len(y), Mean: mean, SD: sd}
}

// GM is the geometric mean e^ȳ, mg/m³.
func (d Lognormal) GM() float64 { return math.Exp(d.Mean) }

// GSD is the geometric standard deviation e^s.
func (d Lognormal) GSD() float64 { return math.Exp(d.SD) }

// Percentile is e^(ȳ + z_p·s), mg/m³: the level that a share p of shifts stays
// below, as estimated.
func (d Lognormal) Percentile(p float64) float64 {
	return math.Exp(d.Mean + normalQuantile(p)*d.SD)
}

// usable says why nothing that rests on the spread can be computed.
func (d Lognormal) usable() error {
	switch {
	case d.N < fewestForSpread:
		return TooFewError{Have: d.N, Need: fewestForSpread}
	case !(d.SD > noSpread):
		return ErrNoSpread
	}
	return nil
}

// MeanMVUE is the minimum-variance unbiased estimate of the arithmetic mean, mg/m³:
//
//	e^ȳ · Σ_p ν^p·(ν+2p) / (ν(ν+2)…(ν+2p)) · (ν/(ν+1))^p · (s²/2)^p / p!,  ν = n−1
//
// Source: Finney 1941, Suppl. J. R. Stat. Soc. 7:155. n ≥ 2.
func (d Lognormal) MeanMVUE() (float64, error) {
	if d.N < 2 {
		return 0, TooFewError{Have: d.N, Need: 2}
	}
	nu, z := float64(d.N-1), d.SD*d.SD/2
	sum, term := 1.0, 1.0
	for p := 1.0; p < 10000; p++ {
		term *= nu / (nu + 2*p - 2) * nu / (nu + 1) * z / p
		if sum += term; term < 1e-17*sum {
			break
		}
	}
	return math.Exp(d.Mean) * sum, nil
}
