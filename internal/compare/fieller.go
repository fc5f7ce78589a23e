package compare

import (
	"fmt"
	"math"
	"slices"
)

// ArithmeticRatio is a ratio of arithmetic means new/old with its interval.
type ArithmeticRatio struct {
	Ratio     float64
	Low, High float64
	G         float64 // t²·se²(old mean)/old mean²; from 1 on there is no bounded interval
	P         float64 // two-sided, Ratio = 1: pooled two-sample t
}

// Unbounded reports that the old mean is too unsure for any interval.
func (r ArithmeticRatio) Unbounded() bool { return r.G >= 1 }

// FiellerRatio is mean(new)/mean(old) with Fieller's interval: the roots R of
//
//	(mnew − R·mold)² = t²·s²·(1/nnew + R²/nold), s² pooled, n−2 degrees of freedom
//
// It needs no logarithms, so values may be zero or below (net concentrations
// near the background). Source: Fieller 1954, J. R. Stat. Soc. B 16:175. Each
// set needs two values; the limits are NaN if G ≥ 1. Errors wrap ErrTooFew,
// ErrNoSpread or, for an old mean of zero or less, ErrNotPositive.
func FiellerRatio(old, new []float64, confidence float64) (ArithmeticRatio, error) {
	if len(old) < 2 || len(new) < 2 {
		return ArithmeticRatio{}, fmt.Errorf("%d old and %d new, need two of each: %w", len(old), len(new), ErrTooFew)
	}
	if !(confidence > 0 && confidence < 1) {
		return ArithmeticRatio{}, fmt.Errorf("confidence %g must lie between 0 and 1", confidence)
	}
	if m, _ := meanSD(old); !(m > 0) {
		return ArithmeticRatio{}, fmt.Errorf("mean of the old values %g: %w", m, ErrNotPositive)
	}
	old, new = sameScale(old, new)
	mOld, sdOld := meanSD(old)
	mNew, sdNew := meanSD(new)
	nOld, nNew := float64(len(old)), float64(len(new))
	df := nOld + nNew - 2
	s2 := ((nOld-1)*sdOld*sdOld + (nNew-1)*sdNew*sdNew) / df
	if !(math.Sqrt(s2) > noSpread*mOld) {
		return ArithmeticRatio{Ratio: mNew / mOld, Low: math.NaN(), High: math.NaN()}, ErrNoSpread
	}
	t := tQuantile(1-(1-confidence)/2, df)
	a := mOld*mOld - t*t*s2/nOld
	b := -2 * mOld * mNew
	c := mNew*mNew - t*t*s2/nNew
	r := ArithmeticRatio{Ratio: mNew / mOld, Low: math.NaN(), High: math.NaN(), G: t * t * s2 / nOld / (mOld * mOld)}
	// At R = 1 the same statistic is the pooled two-sample t.
	if test, err := fromT(mNew-mOld, math.Sqrt(s2*(1/nNew+1/nOld)), df, confidence); err == nil {
		r.P = test.P
	}
	if !r.Unbounded() {
		root := math.Sqrt(b*b - 4*a*c)
		r.Low, r.High = (-b-root)/(2*a), (-b+root)/(2*a)
	}
	return r, nil
}

// sameScale divides both sets by one power of two, so that their squares neither
// overflow nor vanish. A ratio keeps its value, to the last bit.
func sameScale(a, b []float64) (x, y []float64) {
	var largest float64
	for _, v := range slices.Concat(a, b) {
		largest = math.Max(largest, math.Abs(v))
	}
	_, exponent := math.Frexp(largest)
	scale := func(values []float64) []float64 {
		out := make([]float64, len(values))
		for i, v := range values {
			out[i] = math.Ldexp(v, -exponent)
		}
		return out
	}
	return scale(a), scale(b)
}
