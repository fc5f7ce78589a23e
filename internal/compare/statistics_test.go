package compare

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestStatisticsRefuseInsteadOfPanicking(t *testing.T) {
	for _, x := range [][]float64{nil, {}, {1}} {
		_, err := WelchLogRatio(x, []float64{1, 2}, 0.95)
		require.ErrorIs(t, err, ErrTooFew)
		_, err = WelchLogRatio([]float64{1, 2}, x, 0.95)
		require.ErrorIs(t, err, ErrTooFew)
		_, err = PairedLogRatio(x, x, 0.95)
		require.ErrorIs(t, err, ErrTooFew)
		_, err = FiellerRatio(x, []float64{1, 2}, 0.95)
		require.ErrorIs(t, err, ErrTooFew)
	}
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := WelchLogRatio([]float64{1, bad}, []float64{1, 2}, 0.95)
		require.ErrorIs(t, err, ErrNotPositive)
		_, err = PairedLogRatio([]float64{1, 2}, []float64{bad, 2}, 0.95)
		require.ErrorIs(t, err, ErrNotPositive)
		_, err = SessionEffects([]TaskRun{{"a", "sand", bad}})
		require.ErrorIs(t, err, ErrNotPositive)
	}
	_, err := PairedLogRatio([]float64{1, 2}, []float64{1}, 0.95)
	require.ErrorContains(t, err, "cannot be paired")
	_, err = WelchLogRatio([]float64{1, 2}, []float64{3, 4}, 95)
	require.ErrorContains(t, err, "between 0 and 1")
	_, err = FiellerRatio([]float64{-1, -2}, []float64{3, 4}, 0.95)
	require.ErrorIs(t, err, ErrNotPositive)
	_, err = PermutationTwoSample(nil, []float64{1})
	require.ErrorIs(t, err, ErrTooFew)
	_, err = PermutationSignFlip(nil)
	require.ErrorIs(t, err, ErrTooFew)
	_, err = SessionEffects(nil)
	require.ErrorIs(t, err, ErrTooFew)
	_, err = SessionEffects([]TaskRun{{"a", "sand", 1}, {"b", "saw", 2}})
	require.ErrorIs(t, err, ErrUnlinked)
	_, err = CarryOver(nil, 1, 1, 1)
	require.ErrorIs(t, err, ErrTooFew)
	_, err = CarryOver([]float64{1}, 1, 0, 1)
	require.ErrorIs(t, err, ErrNotPositive)
	_, err = WidenForDrift(0, 1, 1, 1, 1, 0.95)
	require.ErrorIs(t, err, ErrNotPositive)
	for _, x := range [][4]float64{{0, 1, .8, .95}, {1, 1, .8, .95}, {.3, 0, .8, .95}, {.3, 1, 1, .95}, {.3, 1, .8, 0}, {math.NaN(), 1, .8, .95}} {
		_, err = SessionsNeeded(x[0], x[1], false, x[2], x[3])
		require.Error(t, err)
	}
	require.Empty(t, Holm(nil))
	require.Equal(t, TooLittleData, VerdictFor(math.NaN(), 1, 0.3))
	require.Equal(t, TooLittleData, VerdictFor(1, math.NaN(), 0.3))
}

func TestNoSpreadStillGivesTheRatio(t *testing.T) {
	r, err := WelchLogRatio([]float64{4, 4, 4}, []float64{1, 1}, 0.95)
	require.ErrorIs(t, err, ErrNoSpread)
	require.InEpsilon(t, 0.25, r.Ratio, 1e-12)
	require.True(t, math.IsNaN(r.Low))
	// One side without spread is no trouble: the other carries the interval, with
	// its own degrees of freedom (by the formula, v² / (v²/(n−1))).
	r, err = WelchLogRatio([]float64{4, 5, 6}, []float64{1, 1}, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, 2, r.DF, 1e-12)
}

// Nasty sets by name, as numerical libraries test them: none may give a limit
// out of order or a p outside [0, 1].
func TestNastySets(t *testing.T) {
	for name, x := range map[string][]float64{
		"big":        {1e300, 2e300, 3e300},
		"tiny":       {1e-300, 2e-300, 3e-300},
		"mixed":      {1e-300, 1, 1e300},
		"near equal": {1, 1 + 1e-8, 1 + 2e-8},
	} {
		t.Run(name, func(t *testing.T) {
			y := []float64{x[2], x[0], x[1] * 1.5}
			r, err := WelchLogRatio(x, y, 0.95)
			require.NoError(t, err)
			require.LessOrEqual(t, r.Low, r.High)
			require.True(t, r.P >= 0 && r.P <= 1)
		})
	}
}

func TestPermutationSampledAgreesWithExact(t *testing.T) {
	// 11 v 11 has 705 432 relabellings: sampled. Against all of them, enumerated
	// here, p must agree within four standard errors of 100 000 draws.
	rng := rand.New(rand.NewPCG(5, 6))
	var a, b []float64
	for range 11 {
		a, b = append(a, rng.NormFloat64()), append(b, rng.NormFloat64()+0.8)
	}
	got, err := PermutationTwoSample(a, b)
	require.NoError(t, err)
	require.True(t, got.Sampled)
	pooled := append(append([]float64{}, a...), b...)
	total := values(pooled).sum()
	observed := math.Abs(values(b).sum()-values(a).sum()) - 1e-9
	hits, all := 0, 0
	eachSubsetSum(pooled, 11, func(sum float64) {
		all++
		if math.Abs(total-2*sum) >= observed {
			hits++
		}
	})
	require.Equal(t, 705432, all)
	p := float64(hits) / float64(all)
	require.InDelta(t, p, got.P, 4*math.Sqrt(p*(1-p)/sampledArrangements))

	swapped, err := PermutationTwoSample(b, a)
	require.NoError(t, err)
	require.Equal(t, got.P, swapped.P)
	again, err := PermutationTwoSample(sorted(a), sorted(b))
	require.NoError(t, err)
	require.Equal(t, got, again)
}

func TestPermutationSignFlipSampled(t *testing.T) {
	// Twenty equal differences: only the two patterns without a flip are as
	// extreme, 2/2²⁰. A sample of 100 000 hardly meets them; (0+1)/(n+1) is the
	// smallest p it may state.
	d := make([]float64, 20)
	for i := range d {
		d[i] = 1
	}
	p, err := PermutationSignFlip(d)
	require.NoError(t, err)
	require.True(t, p.Sampled)
	require.InDelta(t, 1.0/100001, p.P, 3.0/100001)
	require.InEpsilon(t, math.Pow(2, -19), p.Smallest, 1e-12)
}

// Smallest reachable p: 0.100 for 3 v 3, 0.029 for 4 v 4, 0.0625 for 5 and 0.031
// for 6 paired days; by counting, 2/C(2n, n) and 2/2ⁿ.
func TestSmallestReachableP(t *testing.T) {
	for n, want := range map[int]float64{3: 2.0 / 20, 4: 2.0 / 70, 5: 2.0 / 252} {
		a, b := make([]float64, n), make([]float64, n)
		for i := range a {
			a[i], b[i] = float64(i), float64(100+i)
		}
		p, err := PermutationTwoSample(a, b)
		require.NoError(t, err)
		require.InDelta(t, want, p.Smallest, 1e-12)
		require.InDelta(t, want, p.P, 1e-12) // full separation reaches it
	}
	for n, want := range map[int]float64{5: 0.0625, 6: 0.03125} {
		p, err := PermutationSignFlip(make([]float64, n))
		require.NoError(t, err)
		require.InDelta(t, want, p.Smallest, 1e-12)
		require.Equal(t, 1.0, p.P) // no difference at all
	}
	p, err := PermutationTwoSample([]float64{1, 2, 3}, []float64{4, 5, 6, 7})
	require.NoError(t, err)
	require.InDelta(t, 1.0/35, p.Smallest, 1e-12)
}

func TestGuard(t *testing.T) {
	for _, c := range []struct {
		word  Verdict
		perm  Permutation
		want  Verdict
		model bool
	}{
		{ReducedEnough, Permutation{P: 0.02, Smallest: 0.01}, ReducedEnough, false},
		{ReducedEnough, Permutation{P: 0.05, Smallest: 0.01}, ReducedEnough, false},
		{ReducedEnough, Permutation{P: 0.06, Smallest: 0.01}, NoReductionShown, false},
		{ReducedEnough, Permutation{P: 0.10, Smallest: 0.10}, ReducedEnough, true},
		{Increased, Permutation{P: 0.06, Smallest: 0.01}, NoReductionShown, false},
		{NoneThatMatters, Permutation{P: 0.9, Smallest: 0.01}, NoneThatMatters, false},
	} {
		word, model := guarded(c.word, c.perm, 1-0.95)
		require.Equal(t, c.want, word)
		require.Equal(t, c.model, model)
	}
}

func TestSessionsNeededLaws(t *testing.T) {
	last := math.Inf(1)
	for _, reduction := range []float64{0.1, 0.2, 0.3, 0.5, 0.7, 0.9} {
		n, err := SessionsNeeded(reduction, 0.5, false, 0.8, 0.95)
		require.NoError(t, err)
		require.LessOrEqual(t, n, last)
		require.GreaterOrEqual(t, n, 2.0)
		last = n
	}
	_, err := SessionsNeeded(1e-6, 5, false, 0.8, 0.95)
	require.ErrorContains(t, err, "needs more than")
}

func TestSessionEffectsReadAtTheCommonMix(t *testing.T) {
	// Exact two-way data: level of session × level of task. The effects must
	// keep the sessions' ratio and average, over all runs, to the data's mean log.
	runs := []TaskRun{
		{"a", "sand", 6}, {"a", "saw", 2}, {"b", "sand", 12}, {"b", "saw", 4}, {"b", "saw", 4}, {"c", "saw", 1},
	}
	effects, err := SessionEffects(runs)
	require.NoError(t, err)
	require.InEpsilon(t, 2, effects["b"]/effects["a"], 1e-9)
	require.InEpsilon(t, 0.5, effects["c"]/effects["a"], 1e-9)
	// Two of six runs sand, four saw: session a at that mix is 6^(1/3)·2^(2/3).
	require.InEpsilon(t, math.Cbrt(6)*math.Pow(2, 2.0/3), effects["a"], 1e-9)
}

func TestWidenForDriftOnlyWidens(t *testing.T) {
	plain, err := WidenForDrift(0.5, 0.2, 8, 0, 3, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 8, plain.DF, 1e-9)
	wide, err := WidenForDrift(0.5, 0.2, 8, 0.1, 3, 0.95)
	require.NoError(t, err)
	require.Less(t, wide.Low, plain.Low)
	require.Greater(t, wide.High, plain.High)
}
