package alternatives

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Exact enumeration up to mostArrangements; beyond it a seeded sample of
// sampledArrangements stands for all of them.
const (
	mostArrangements    = 50_000
	sampledArrangements = 2_000
	seed                = 20_260
)

// Blocked is a permutation test within blocks.
type Blocked struct {
	Statistic    float64 // sum over blocks of mean(b) − mean(a)
	P            float64 // two-sided
	PLess        float64 // share of arrangements with a statistic ≤ the observed one
	Arrangements int     // enumerated or sampled
	Sampled      bool
}

// PermutationBlocks exchanges labels inside each block only, a block being one
// task or one day: a[i] and b[i] are the values of block i under the two setups.
// It is legitimate only if what is exchanged could have been exchanged: runs
// inside a day only where the setup was switched run by run. Source: stratified
// randomisation, Edgington & Onghena 2007, ch. 6. Ties count (tolerance 1e-12 of
// the scale). The error wraps ErrTooFew.
func PermutationBlocks(a, b [][]float64) (Blocked, error) {
	if len(a) != len(b) || len(a) == 0 {
		return Blocked{}, fmt.Errorf("%d and %d blocks: %w", len(a), len(b), ErrTooFew)
	}
	var t Blocked
	count, scale := 1.0, 1.0
	parts := make([][]float64, len(a))
	for i := range a {
		if len(a[i]) == 0 || len(b[i]) == 0 {
			return Blocked{}, fmt.Errorf("block %d holds %d and %d values: %w", i+1, len(a[i]), len(b[i]), ErrTooFew)
		}
		t.Statistic += mean(b[i]) - mean(a[i])
		for _, x := range append(append([]float64{}, a[i]...), b[i]...) {
			scale = math.Max(scale, math.Abs(x))
		}
		n := choose(len(a[i])+len(b[i]), len(a[i]))
		if count *= n; count <= mostArrangements {
			parts[i] = relabelled(a[i], b[i])
		}
	}
	tolerance := 1e-12 * scale
	extreme, less := 0, 0
	add := func(statistic float64) {
		t.Arrangements++
		if math.Abs(statistic) >= math.Abs(t.Statistic)-tolerance {
			extreme++
		}
		if statistic <= t.Statistic+tolerance {
			less++
		}
	}
	if count > mostArrangements {
		t.Sampled = true
		sampleBlocks(a, b, add)
		n := float64(t.Arrangements) + 1
		t.P, t.PLess = float64(extreme+1)/n, float64(less+1)/n
		return t, nil
	}
	eachSum(parts, 0, add)
	n := float64(t.Arrangements)
	t.P, t.PLess = float64(extreme)/n, float64(less)/n
	return t, nil
}

// relabelled lists mean(b) − mean(a) of one block under every relabelling.
func relabelled(a, b []float64) []float64 {
	pooled := append(append([]float64{}, a...), b...)
	var total float64
	for _, x := range pooled {
		total += x
	}
	var out []float64
	var walk func(from, left int, sum float64)
	walk = func(from, left int, sum float64) {
		if left == 0 {
			out = append(out, (total-sum)/float64(len(b))-sum/float64(len(a)))
			return
		}
		for i := from; i <= len(pooled)-left; i++ {
			walk(i+1, left-1, sum+pooled[i])
		}
	}
	walk(0, len(a), 0)
	return out
}

// eachSum calls f with every sum of one value from each list.
func eachSum(lists [][]float64, sum float64, f func(float64)) {
	if len(lists) == 0 {
		f(sum)
		return
	}
	for _, x := range lists[0] {
		eachSum(lists[1:], sum+x, f)
	}
}

// sampleBlocks calls add with the statistic of random relabellings.
func sampleBlocks(a, b [][]float64, add func(float64)) {
	rng := rand.New(rand.NewPCG(seed, uint64(len(a))))
	pooled := make([][]float64, len(a))
	for i := range a {
		pooled[i] = append(append([]float64{}, a[i]...), b[i]...)
	}
	for range sampledArrangements {
		var sum float64
		for i, x := range pooled {
			rng.Shuffle(len(x), func(j, k int) { x[j], x[k] = x[k], x[j] })
			sum += mean(x[len(a[i]):]) - mean(x[:len(a[i])])
		}
		add(sum)
	}
}

func mean(x []float64) float64 {
	var m float64
	for i, v := range x {
		m += (v - m) / float64(i+1)
	}
	return m
}

// choose is C(n, k) as a float: only its size matters.
func choose(n, k int) float64 {
	c := 1.0
	for i := 1; i <= k; i++ {
		c = c * float64(n-k+i) / float64(i)
	}
	return math.Round(c)
}
