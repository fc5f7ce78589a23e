package alternatives

import (
	"fmt"
	"math"
	"slices"
)

// Shift is an estimate of a difference with its interval.
type Shift struct {
	Estimate  float64
	Low, High float64
	// Coverage is what the interval holds exactly: ranks come in steps, and with
	// few values even the widest interval may hold less than was asked for.
	Coverage float64
}

// mostPairs bounds the exact tables; beyond it the count is approximated.
const mostPairs = 100_000

// HodgesLehmannTwo is the median of all differences b − a, with the exact
// interval from the Mann–Whitney distribution: the k-th smallest and k-th largest
// difference, k the smallest integer with P(W ≤ k) ≥ α/2, at least 1. It bears
// one wild session better than means do. Source: Hodges & Lehmann 1963, Ann.
// Math. Stat. 34:598; Hollander & Wolfe 1973, ch. 4. The sets should differ by a
// shift only. The error wraps ErrTooFew or ErrOutOfRange.
func HodgesLehmannTwo(a, b []float64, confidence float64) (Shift, error) {
	if len(a) == 0 || len(b) == 0 {
		return Shift{}, fmt.Errorf("shift between %d and %d values: %w", len(a), len(b), ErrTooFew)
	}
	if len(a)*len(b) > mostPairs {
		return Shift{}, fmt.Errorf("shift between %d and %d values: more than %d pairs: %w", len(a), len(b), mostPairs, ErrOutOfRange)
	}
	differences := make([]float64, 0, len(a)*len(b))
	for _, x := range a {
		for _, y := range b {
			differences = append(differences, y-x)
		}
	}
	return ranked(differences, mannWhitneyCounts(len(a), len(b)), confidence)
}

// HodgesLehmannOne is the median of the Walsh averages (d[i] + d[j])/2, i ≤ j, of
// paired differences, with the exact interval from the signed-rank distribution.
// Source and rules as for HodgesLehmannTwo; Hollander & Wolfe 1973, ch. 3. The
// differences should be spread symmetrically.
func HodgesLehmannOne(d []float64, confidence float64) (Shift, error) {
	n := len(d)
	if n == 0 {
		return Shift{}, fmt.Errorf("shift of no differences: %w", ErrTooFew)
	}
	if n*(n+1)/2 > mostPairs {
		return Shift{}, fmt.Errorf("shift of %d differences: more than %d pairs: %w", n, mostPairs, ErrOutOfRange)
	}
	walsh := make([]float64, 0, n*(n+1)/2)
	for i := range d {
		for j := i; j < n; j++ {
			walsh = append(walsh, (d[i]+d[j])/2)
		}
	}
	return ranked(walsh, signedRankCounts(n), confidence)
}

// ranked reads estimate and limits off the ordered pair values. counts are the
// relative frequencies of the rank statistic without a shift, from 0 on.
func ranked(pairs, counts []float64, confidence float64) (Shift, error) {
	if !(confidence > 0 && confidence < 1) {
		return Shift{}, fmt.Errorf("confidence %g must lie between 0 and 1: %w", confidence, ErrOutOfRange)
	}
	slices.Sort(pairs)
	n := len(pairs)
	var total float64
	for _, c := range counts {
		total += c
	}
	const rounding = 1e-12
	k, below := 0, counts[0]/total
	outside := below // P(W ≤ k−1) for the k in use
	for below < (1-confidence)/2-rounding {
		outside = below
		k++
		below += counts[k] / total
	}
	if k == 0 {
		k = 1
	}
	return Shift{
		Estimate: (pairs[(n-1)/2] + pairs[n/2]) / 2,
		Low:      pairs[k-1], High: pairs[n-k],
		Coverage: math.Max(0, 1-2*outside),
	}, nil
}

// mannWhitneyCounts counts, for W = 0, 1, …, the ways to rank m and n values.
// The product Π (1 − x^(m+i))/(1 − x^i), i = 1 … n, is their generating function.
func mannWhitneyCounts(m, n int) []float64 {
	c := make([]float64, m*n+1)
	c[0] = 1
	for i := 1; i <= n; i++ {
		for w := len(c) - 1; w >= m+i; w-- {
			c[w] -= c[w-m-i]
		}
		for w := i; w < len(c); w++ {
			c[w] += c[w-i]
		}
	}
	return c
}

// signedRankCounts counts, for W = 0, 1, …, the sets of ranks 1 … n with that sum.
func signedRankCounts(n int) []float64 {
	c := make([]float64, n*(n+1)/2+1)
	c[0] = 1
	for rank := 1; rank <= n; rank++ {
		for w := len(c) - 1; w >= rank; w-- {
			c[w] += c[w-rank]
		}
	}
	return c
}
