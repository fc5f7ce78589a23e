package group

import (
	"fmt"
	"math"
	"sync"
)

// ToleranceFactor is K for a one-sided tolerance limit: with confidence γ, a share
// p of a normal population lies below mean + K·sd of n values.
//
//	K = t'(γ; n−1, z_p·√n) / √n
//
// Source: Odeh and Owen 1980, Tables for Normal Tolerance Limits; ISO 16269-6:2014.
// Domain: n ≥ 2, 0 < p, γ < 1.
func ToleranceFactor(n int, p, confidence float64) (float64, error) {
	if n < 2 {
		return 0, TooFewError{Have: n, Need: 2}
	}
	if err := probability("share", p); err != nil {
		return 0, err
	}
	if err := probability("confidence", confidence); err != nil {
		return 0, err
	}
	key := factorOf{n, p, confidence}
	if k, known := knownFactors.Load(key); known {
		return k.(float64), nil
	}
	root := math.Sqrt(float64(n))
	k := NoncentralT{DF: float64(n - 1), Delta: normalQuantile(p) * root}.Quantile(confidence) / root
	knownFactors.Store(key, k)
	return k, nil
}

// knownFactors keeps what was computed: a factor hangs on these three only, and
// many groups have the same number of shifts.
var knownFactors sync.Map

type factorOf struct {
	n             int
	p, confidence float64
}

// UpperTolerance is e^(ȳ + K·s), mg/m³: with the given confidence a share p of
// shifts lies below it. n ≥ 3.
func (d Lognormal) UpperTolerance(p, confidence float64) (float64, error) {
	if err := d.usable(); err != nil {
		return 0, err
	}
	k, err := ToleranceFactor(d.N, p, confidence)
	return math.Exp(d.Mean + k*d.SD), err
}

// Exceedance is the estimated share of shifts above the limit (mg/m³) and its
// one-sided confidence limits, each with the given confidence.
//
//	f = 1 − Φ(u),  u = (ln L − ȳ)/s
//	limits 1 − Φ(k), k from P(T ≤ √n·u; n−1, √n·k) = γ (upper) and 1−γ (lower)
//
// Source: Odeh and Owen 1980; Hewett and Ganser 1997, Appl. Occup. Environ. Hyg.
// 12:132. n ≥ 3.
func (d Lognormal) Exceedance(limit, confidence float64) (share, low, high float64, err error) {
	if err = d.usable(); err != nil {
		return 0, 0, 0, err
	}
	if !positive(limit) {
		return 0, 0, 0, fmt.Errorf("limit %g mg/m³: %w", limit, ErrNotPositive)
	}
	if err = probability("confidence", confidence); err != nil {
		return 0, 0, 0, err
	}
	u := (math.Log(limit) - d.Mean) / d.SD
	return normalCDF(-u), normalCDF(-d.noncentrality(u, 1-confidence)), normalCDF(-d.noncentrality(u, confidence)), nil
}

// noncentrality solves P(T ≤ √n·u; n−1, √n·k) = p for k; the probability falls as
// k grows.
func (d Lognormal) noncentrality(u, p float64) float64 {
	n, root := float64(d.N), math.Sqrt(float64(d.N))
	return bracketed(func(k float64) float64 {
		return p - NoncentralT{DF: n - 1, Delta: root * k}.CDF(root*u)
	}, u, 1+math.Abs(u)/4)
}
