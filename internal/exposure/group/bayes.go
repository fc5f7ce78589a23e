package group

import (
	"fmt"
	"math"
)

// Prior is what is believed before the first shift, as a normal-inverse-gamma
// distribution on logarithms:
//
//	µ | σ² ~ N(M0, σ²/K0),  σ² ~ inverse gamma(A0, B0)
//
// K0 is what the prior says about the level, in shifts; 0 means nothing. About the
// spread it says as much as 2·A0+1 degrees of freedom with a variance of
// 2·B0/(2·A0+1) (for K0 = 0). Source: Gelman et al. 2013, Bayesian Data Analysis,
// 3rd ed., 3.3.
type Prior struct {
	M0 float64 `json:"m0"`
	K0 float64 `json:"k0"`
	A0 float64 `json:"a0"`
	B0 float64 `json:"b0"`
}

// DefaultPrior says nothing about the level. About the spread it counts as three
// degrees of freedom with a variance of 0.27 in ln units (GSD 1.68): the
// day-to-day variance within workers was about 0.26 to 0.28 in furniture
// factories.
var DefaultPrior = Prior{K0: 0, A0: 1, B0: 3 * 0.27 / 2}

// Posterior is the same distribution after n shifts.
//
//	k = K0+n, m = (K0·M0 + n·ȳ)/k, a = A0 + n/2,
//	b = B0 + (n−1)s²/2 + K0·n·(ȳ−M0)²/(2k)
type Posterior struct {
	M, K, A, B float64
}

// Update adds n shifts to the prior. n ≥ 1; one shift has no spread of its own.
func (p Prior) Update(d Lognormal) (Posterior, error) {
	if d.N < 1 {
		return Posterior{}, TooFewError{Have: d.N, Need: 1}
	}
	n, s := float64(d.N), d.SD
	if d.N == 1 {
		s = 0
	}
	k := p.K0 + n
	post := Posterior{
		M: (p.K0*p.M0 + n*d.Mean) / k,
		K: k,
		A: p.A0 + n/2,
		B: p.B0 + (n-1)*s*s/2 + p.K0*n*(d.Mean-p.M0)*(d.Mean-p.M0)/(2*k),
	}
	if !(p.K0 >= 0 && positive(post.K) && positive(post.A) && positive(post.B)) {
		return Posterior{}, fmt.Errorf("prior %+v with %d shifts has no proper posterior: a and b must end above zero", p, d.N)
	}
	return post, nil
}

// ChanceBelow is the probability that the p-percentile of shifts lies below a
// level in mg/m³: P(T ≤ √k·(ln L − m)/√(b/a)), T noncentral t with 2a degrees of
// freedom and z_p·√k. Closed form, from the definitions of Prior and NoncentralT.
func (q Posterior) ChanceBelow(level, p float64) float64 {
	return q.noncentralT(p).CDF(math.Sqrt(q.K) * (math.Log(level) - q.M) / math.Sqrt(q.B/q.A))
}

// PercentileLimit is the level in mg/m³ that the p-percentile of shifts lies below
// with the given probability.
func (q Posterior) PercentileLimit(p, probability float64) float64 {
	return math.Exp(q.M + math.Sqrt(q.B/q.A)*q.noncentralT(p).Quantile(probability)/math.Sqrt(q.K))
}

func (q Posterior) noncentralT(p float64) NoncentralT {
	return NoncentralT{DF: 2 * q.A, Delta: normalQuantile(p) * math.Sqrt(q.K)}
}
