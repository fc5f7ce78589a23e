package group

import "math"

// LandMean gives Land's exact one-sided confidence limits for the arithmetic mean
// of a lognormal distribution, mg/m³, each with the given confidence.
//
//	for a mean e^t: W = (n−1)s² + n(ȳ−t)²,  u = n(ȳ−t)/√(nW)
//	density of U:   ∝ (1−u²)^((n−3)/2) · e^(−√(nW)·u/2),  −1 < u < 1
//	limits:         P(U ≤ u) = 1−γ (upper), γ (lower)
//
// With u = sin θ the integrand stays smooth at both ends for every n. Source: Land
// 1971, Ann. Math. Stat. 42:1187. n ≥ 3. The upper limit grows without bounds for
// few shifts of wide spread; that is the truth about them.
func (d Lognormal) LandMean(confidence float64) (low, high float64, err error) {
	if err = d.usable(); err != nil {
		return 0, 0, err
	}
	if err = probability("confidence", confidence); err != nil {
		return 0, 0, err
	}
	return math.Exp(d.Mean + landT(d.N, d.SD, confidence)), math.Exp(d.Mean + landT(d.N, d.SD, 1-confidence)), nil
}

// LandH is the factor of the printed tables: upper limit = e^(ȳ + s²/2 + H·s/√(n−1)).
// Source: Land 1975, Selected Tables in Mathematical Statistics 3:385. n ≥ 3, s > 0.
func LandH(n int, s, confidence float64) (float64, error) {
	if err := (Lognormal{N: n, SD: s}).usable(); err != nil {
		return 0, err
	}
	if err := probability("confidence", confidence); err != nil {
		return 0, err
	}
	return math.Sqrt(float64(n-1)) * (landT(n, s, 1-confidence) - s*s/2) / s, nil
}

// landT is the t − ȳ at which P(U ≤ u) = p.
func landT(n int, s, p float64) float64 {
	m := float64(n)
	return bracketed(func(t float64) float64 { return p - landCDF(m, s, t) }, s*s/2, s/math.Sqrt(m)+s*s/4)
}

// landCDF is P(U ≤ u) at a mean of e^(ȳ+t); it falls as t grows.
func landCDF(n, s, t float64) float64 {
	w := (n-1)*s*s + n*t*t
	half := math.Sqrt(n*w) / 2
	theta := math.Asin(max(-1, min(1, -n*t/math.Sqrt(n*w))))
	f := func(x float64) float64 { return (n-2)*math.Log(math.Cos(x)) - half*math.Sin(x) }
	below, above := logIntegral(f, -math.Pi/2, theta), logIntegral(f, theta, math.Pi/2)
	return 1 / (1 + math.Exp(above-below))
}
