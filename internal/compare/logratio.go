package compare

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Errors of the statistics in this package.
var (
	// ErrTooFew: fewer values than the formula needs.
	ErrTooFew = errors.New("too few values")
	// ErrNoSpread: the values do not differ at all, so no interval can be
	// computed. Real air never does that; a stuck sensor does.
	ErrNoSpread = errors.New("values do not differ")
	// ErrNotPositive: a value of zero or less has no logarithm.
	ErrNotPositive = errors.New("value is not above zero")
)

// noSpread is the standard error in ln units below which only rounding is left.
const noSpread = 1e-9

// LogRatio is a ratio new/old with its interval, from a t test on logarithms.
type LogRatio struct {
	Ratio     float64 // exp of the difference of mean logs
	Low, High float64 // confidence limits of Ratio
	SE        float64 // standard error of ln Ratio
	T         float64 // ln Ratio / SE
	DF        float64 // degrees of freedom
	P         float64 // two-sided, Ratio = 1

	confidence float64
}

// WelchLogRatio is the ratio of geometric means new/old of two independent sets
// of values above zero (any unit, the same in both).
//
//	d = mean ln new − mean ln old, se² = s²new/nnew + s²old/nold,
//	df = se⁴ / [(s²new/nnew)²/(nnew−1) + (s²old/nold)²/(nold−1)], CI = exp(d ± t·se)
//
// Source: Welch 1947, Biometrika 34:28. Each set needs two values; the values
// should be independent and about log-normal. Errors wrap ErrTooFew,
// ErrNotPositive or, with Ratio still set, ErrNoSpread.
func WelchLogRatio(old, new []float64, confidence float64) (LogRatio, error) {
	lnOld, err := logs(old)
	if err != nil {
		return LogRatio{}, fmt.Errorf("old values: %w", err)
	}
	lnNew, err := logs(new)
	if err != nil {
		return LogRatio{}, fmt.Errorf("new values: %w", err)
	}
	return welch(lnOld, lnNew, confidence)
}

// PairedLogRatio is the ratio new/old of values that belong together in pairs,
// old[i] with new[i], all above zero: d = mean of ln(new/old), se = sd/√n, n−1
// degrees of freedom. Source: one-sample t test on log ratios (Student 1908,
// Biometrika 6:1). Errors as for WelchLogRatio.
func PairedLogRatio(old, new []float64, confidence float64) (LogRatio, error) {
	if len(old) != len(new) {
		return LogRatio{}, fmt.Errorf("%d old values cannot be paired with %d new ones", len(old), len(new))
	}
	lnOld, err := logs(old)
	if err != nil {
		return LogRatio{}, fmt.Errorf("old values: %w", err)
	}
	lnNew, err := logs(new)
	if err != nil {
		return LogRatio{}, fmt.Errorf("new values: %w", err)
	}
	for i := range lnNew {
		lnNew[i] -= lnOld[i]
	}
	return oneSample(lnNew, confidence)
}

func logs(values []float64) ([]float64, error) {
	out := make([]float64, len(values))
	for i, x := range values {
		if !(x > 0) || math.IsInf(x, 1) {
			return nil, fmt.Errorf("%g: %w", x, ErrNotPositive)
		}
		out[i] = math.Log(x)
	}
	return out, nil
}

func welch(old, new []float64, confidence float64) (LogRatio, error) {
	if len(old) < 2 || len(new) < 2 {
		return LogRatio{}, fmt.Errorf("%d old and %d new, need two of each: %w", len(old), len(new), ErrTooFew)
	}
	meanOld, sdOld := meanSD(old)
	meanNew, sdNew := meanSD(new)
	nOld, nNew := float64(len(old)), float64(len(new))
	vOld, vNew := sdOld*sdOld/nOld, sdNew*sdNew/nNew
	v := vOld + vNew
	df := v * v / (vOld*vOld/(nOld-1) + vNew*vNew/(nNew-1))
	return fromT(meanNew-meanOld, math.Sqrt(v), df, confidence)
}

func oneSample(d []float64, confidence float64) (LogRatio, error) {
	if len(d) < 2 {
		return LogRatio{}, fmt.Errorf("%d pairs, need two: %w", len(d), ErrTooFew)
	}
	mean, sd := meanSD(d)
	n := float64(len(d))
	return fromT(mean, sd/math.Sqrt(n), n-1, confidence)
}

// fromT turns a difference of logs into a ratio with its interval.
func fromT(d, se, df, confidence float64) (LogRatio, error) {
	if !(confidence > 0 && confidence < 1) {
		return LogRatio{}, fmt.Errorf("confidence %g must lie between 0 and 1", confidence)
	}
	r := LogRatio{Ratio: math.Exp(d), Low: math.NaN(), High: math.NaN(), SE: se, DF: df, T: math.NaN(), P: math.NaN(), confidence: confidence}
	if !(se > noSpread) {
		return r, ErrNoSpread
	}
	q := tQuantile(1-(1-confidence)/2, df)
	r.Low, r.High = math.Exp(d-q*se), math.Exp(d+q*se)
	r.T = d / se
	r.P = 2 * distuv.StudentsT{Sigma: 1, Nu: df}.CDF(-math.Abs(r.T))
	return r, nil
}

// tQuantile is Student's t; df > 0, 0 < p < 1.
func tQuantile(p, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}

// meanSD is the mean and the standard deviation (divisor n − 1, two-pass). Both
// are NaN for no values; one value has no standard deviation: NaN.
func meanSD(x []float64) (mean, sd float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	if len(x) == 0 {
		return math.NaN(), math.NaN()
	}
	if len(x) == 1 {
		return mean, math.NaN()
	}
	var ss float64
	for _, v := range x {
		ss += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(ss / (n - 1))
}
