package alternatives

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Bootstrap is an estimate with its BCa and its plain percentile interval.
type Bootstrap struct {
	Estimate          float64
	Low, High         float64 // bias-corrected and accelerated
	PercLow, PercHigh float64 // percentile
	Z0, Acceleration  float64
	Draws             int
	Resamples         float64 // distinct ones of the smaller set: few make the interval too narrow
}

// BCa is the bias-corrected and accelerated bootstrap interval of a statistic of
// one or several sets of values, each resampled by itself.
//
//	z0 = Φ⁻¹(share of draws below the estimate), limits at the draws' quantiles
//	Φ(z0 + (z0 ± z)/(1 − a·(z0 ± z))), and the jackknife's acceleration
//	a = Σg ng⁻³ ΣU³ / (6·[Σg ng⁻² ΣU²]^1.5), U = (ng − 1)·(mean θ(−i) − θ(−i))
//
// Source: Efron & Tibshirani 1993, ch. 14. Draws come from a fixed seed: equal
// values, equal interval. With fewer than six values a set the interval is too
// narrow: to be shown, not to decide on. Errors wrap ErrTooFew,
// ErrNoSpread or ErrOutOfRange.
func BCa(sets [][]float64, statistic func(sets [][]float64) float64, draws int, confidence float64) (Bootstrap, error) {
	if !(confidence > 0 && confidence < 1) || draws < 100 {
		return Bootstrap{}, fmt.Errorf("%d draws at confidence %g: %w", draws, confidence, ErrOutOfRange)
	}
	for _, x := range sets {
		if len(x) < 2 {
			return Bootstrap{}, fmt.Errorf("bootstrap of a set of %d: %w", len(x), ErrTooFew)
		}
	}
	b := Bootstrap{Estimate: statistic(sets), Draws: draws, Resamples: fewestResamples(sets)}
	drawn := resample(sets, statistic, draws)
	if x := b.Estimate + drawn[0] + drawn[draws-1]; math.IsNaN(x) || math.IsInf(x, 0) {
		return b, fmt.Errorf("bootstrap: a statistic that is no number: %w", ErrOutOfRange)
	}
	var ok bool
	if b.Acceleration, ok = acceleration(sets, statistic); !ok || math.IsNaN(b.Acceleration) {
		return b, fmt.Errorf("bootstrap: %w", ErrNoSpread)
	}
	below := 0.0
	for _, x := range drawn { // a tie counts half: few values repeat often
		switch {
		case x < b.Estimate:
			below++
		case x == b.Estimate:
			below += 0.5
		}
	}
	if below == 0 || below == float64(draws) {
		return b, fmt.Errorf("bootstrap: all draws on one side: %w", ErrNoSpread)
	}
	b.Z0 = distuv.UnitNormal.Quantile(below / float64(draws))
	at := func(z float64) float64 {
		return quantile(drawn, distuv.UnitNormal.CDF(b.Z0+(b.Z0+z)/(1-b.Acceleration*(b.Z0+z))))
	}
	z := distuv.UnitNormal.Quantile(1 - (1-confidence)/2)
	b.Low, b.High = at(-z), at(z)
	b.PercLow, b.PercHigh = quantile(drawn, (1-confidence)/2), quantile(drawn, 1-(1-confidence)/2)
	return b, nil
}

// BCaRatio is BCa of the ratio of arithmetic means new/old, with sessions as
// clusters: each value is one session's mean. Sessions are resampled, never runs
// inside a session alone.
func BCaRatio(old, new []float64, draws int, confidence float64) (Bootstrap, error) {
	if !(mean(old) > 0) {
		return Bootstrap{}, fmt.Errorf("mean of the old values %g is not above zero: %w", mean(old), ErrOutOfRange)
	}
	return BCa([][]float64{old, new}, func(s [][]float64) float64 { return mean(s[1]) / mean(s[0]) }, draws, confidence)
}

// resample returns the sorted statistics of the draws.
func resample(sets [][]float64, statistic func([][]float64) float64, draws int) []float64 {
	n := 0
	drawn := make([][]float64, len(sets))
	for i, x := range sets {
		drawn[i] = make([]float64, len(x))
		n += len(x)
	}
	rng := rand.New(rand.NewPCG(seed, uint64(n)))
	out := make([]float64, draws)
	for d := range out {
		for i, x := range sets {
			for j := range x {
				drawn[i][j] = x[rng.IntN(len(x))]
			}
		}
		out[d] = statistic(drawn)
	}
	slices.Sort(out)
	return out
}

// acceleration is the jackknife's; ok is false if leaving out changes nothing.
func acceleration(sets [][]float64, statistic func([][]float64) float64) (a float64, ok bool) {
	var cubes, squares float64
	for i, x := range sets {
		n := float64(len(x))
		without := make([]float64, len(x))
		for j := range x {
			fewer := slices.Clone(sets)
			fewer[i] = slices.Delete(slices.Clone(x), j, j+1)
			without[j] = statistic(fewer)
		}
		m := mean(without)
		for _, t := range without {
			u := (n - 1) * (m - t)
			cubes += u * u * u / (n * n * n)
			squares += u * u / (n * n)
		}
	}
	if !(squares > 0) {
		return 0, false
	}
	return cubes / (6 * math.Pow(squares, 1.5)), true
}

// quantile is the value at position p·(n−1) of sorted x, interpolated (type 7 of
// Hyndman & Fan 1996, Am. Stat. 50:361).
func quantile(x []float64, p float64) float64 {
	h := p * float64(len(x)-1)
	i := int(math.Floor(h))
	if i+1 >= len(x) {
		return x[len(x)-1]
	}
	return x[i] + (h-float64(i))*(x[i+1]-x[i])
}

// fewestResamples is the number of distinct resamples of the smallest set: C(2n−1, n).
func fewestResamples(sets [][]float64) float64 {
	least := math.Inf(1)
	for _, x := range sets {
		least = math.Min(least, choose(2*len(x)-1, len(x)))
	}
	return least
}
