package compare

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Exact enumeration is quick up to maxArrangements; beyond it a random sample
// of sampledArrangements relabellings stands for all of them.
const (
	maxArrangements     = 200_000
	sampledArrangements = 100_000
	sampleSeed          = 20_260
)

// Permutation is the result of a permutation test.
type Permutation struct {
	P            float64 // two-sided: share of arrangements with |statistic| ≥ the observed one
	PLess        float64 // share with statistic ≤ the observed one
	Arrangements int     // enumerated or sampled
	Sampled      bool    // true: P and PLess are Monte Carlo estimates, (hits+1)/(n+1)
	Smallest     float64 // the smallest P that this many values can reach
}

// PermutationTwoSample compares mean(b) − mean(a) with its values under all
// C(na+nb, na) ways to deal the pooled values into the two sets. Ties count
// (tolerance 1e-12). It assumes only that, without a change, the labels could
// be exchanged. Above 200 000 arrangements 100 000 are drawn with a fixed seed
// (Monte Carlo p of Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39).
// Source: Efron & Tibshirani 1993, ch. 15. The error wraps ErrTooFew.
func PermutationTwoSample(a, b []float64) (Permutation, error) {
	if len(a) == 0 || len(b) == 0 {
		return Permutation{}, fmt.Errorf("%d and %d values, need one of each: %w", len(a), len(b), ErrTooFew)
	}
	// Dealing the smaller set keeps the draw the same when a and b change places.
	small, large, sign := a, b, 1.0
	if len(b) < len(a) {
		small, large, sign = b, a, -1
	}
	pooled := slices.Concat(small, large)
	slices.Sort(pooled)
	var total float64
	for _, v := range pooled {
		total += v
	}
	k, n := len(small), len(pooled)
	difference := func(sum float64) float64 {
		return sign * ((total-sum)/float64(n-k) - sum/float64(k))
	}
	t := newTally(difference(sorted(small).sum()), spread(pooled))
	count := binomial(n, k)
	t.result.Smallest = 1 / count
	if len(a) == len(b) {
		t.result.Smallest = 2 / count // the mirror image is as far from zero
	}
	if count > maxArrangements {
		rng := rand.New(rand.NewPCG(sampleSeed, uint64(n)))
		for range sampledArrangements {
			t.add(difference(drawSum(rng, pooled, k)))
		}
		return t.sampled(), nil
	}
	eachSubsetSum(pooled, k, func(sum float64) { t.add(difference(sum)) })
	return t.exact(), nil
}

// PermutationSignFlip compares sum(d) with its values under all 2ⁿ ways to
// choose the signs of the paired differences d. Rules, limits and source as for
// PermutationTwoSample.
func PermutationSignFlip(d []float64) (Permutation, error) {
	if len(d) == 0 {
		return Permutation{}, fmt.Errorf("no differences: %w", ErrTooFew)
	}
	// By size, so that neither the order nor a change of sides alters the draw.
	magnitude := make([]float64, len(d))
	for i, v := range d {
		magnitude[i] = math.Abs(v)
	}
	slices.Sort(magnitude)
	ordered := slices.Clone(d)
	slices.SortFunc(ordered, func(x, y float64) int {
		return cmp.Or(cmp.Compare(math.Abs(x), math.Abs(y)), cmp.Compare(x, y))
	})
	t := newTally(values(ordered).sum(), magnitude[len(d)-1])
	t.result.Smallest = math.Pow(2, 1-float64(len(d)))
	if math.Pow(2, float64(len(d))) > maxArrangements {
		rng := rand.New(rand.NewPCG(sampleSeed, uint64(len(d))))
		for range sampledArrangements {
			t.add(flippedSum(magnitude, func(int) bool { return rng.Uint64()&1 == 1 }))
		}
		return t.sampled(), nil
	}
	for mask := range 1 << len(d) {
		t.add(flippedSum(magnitude, func(i int) bool { return mask>>i&1 == 1 }))
	}
	return t.exact(), nil
}

// tally counts how many arrangements are at least as extreme as the observed one.
type tally struct {
	observed, tolerance float64
	extreme, less       int
	result              Permutation
}

func newTally(observed, scale float64) *tally {
	return &tally{observed: observed, tolerance: 1e-12 * math.Max(1, scale)}
}

func (t *tally) add(statistic float64) {
	t.result.Arrangements++
	if math.Abs(statistic) >= math.Abs(t.observed)-t.tolerance {
		t.extreme++
	}
	if statistic <= t.observed+t.tolerance {
		t.less++
	}
}

func (t *tally) exact() Permutation {
	n := float64(t.result.Arrangements)
	t.result.P, t.result.PLess = float64(t.extreme)/n, float64(t.less)/n
	return t.result
}

func (t *tally) sampled() Permutation {
	n := float64(t.result.Arrangements)
	t.result.P, t.result.PLess = float64(t.extreme+1)/(n+1), float64(t.less+1)/(n+1)
	t.result.Sampled = true
	return t.result
}

// values sums in a fixed order, so that equal sets give equal sums.
type values []float64

func sorted(x []float64) values {
	c := slices.Clone(x)
	slices.Sort(c)
	return c
}

func (v values) sum() float64 {
	var s float64
	for _, x := range v {
		s += x
	}
	return s
}

func spread(ordered []float64) float64 {
	return math.Max(math.Abs(ordered[0]), math.Abs(ordered[len(ordered)-1]))
}

func flippedSum(x []float64, minus func(i int) bool) float64 {
	var s float64
	for i, v := range x {
		if minus(i) {
			v = -v
		}
		s += v
	}
	return s
}

// eachSubsetSum calls f with the sum of every subset of k of the values.
func eachSubsetSum(x []float64, k int, f func(sum float64)) {
	var walk func(from, left int, sum float64)
	walk = func(from, left int, sum float64) {
		if left == 0 {
			f(sum)
			return
		}
		for i := from; i <= len(x)-left; i++ {
			walk(i+1, left-1, sum+x[i])
		}
	}
	walk(0, k, 0)
}

// drawSum is the sum of k values drawn without replacement by selection sampling,
// which keeps their order, so that equal draws give equal sums.
func drawSum(rng *rand.Rand, x []float64, k int) float64 {
	var sum float64
	left := k
	for i, v := range x {
		if rng.IntN(len(x)-i) < left {
			sum += v
			left--
		}
	}
	return sum
}

// binomial is C(n, k) as a float: only its size matters.
func binomial(n, k int) float64 {
	c := 1.0
	for i := 1; i <= k; i++ {
		c = c * float64(n-k+i) / float64(i)
	}
	return math.Round(c)
}
