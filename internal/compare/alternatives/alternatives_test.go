package alternatives

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The published values are checked by the reference cases of package compare;
// here are laws that hold for any values.

func normals(rng *rand.Rand, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	return x
}

// Tables of the rank statistics, Hollander & Wolfe 1973: all ways to rank add up to
// C(m+n, n) and 2ⁿ, and P(W ≤ 2) for 5 and 5 values is 4/252.
func TestRankCounts(t *testing.T) {
	sum := func(x []float64) (s float64) {
		for _, v := range x {
			s += v
		}
		return s
	}
	require.Equal(t, choose(15, 5), sum(mannWhitneyCounts(5, 10)))
	require.Equal(t, []float64{1, 1, 2}, mannWhitneyCounts(5, 5)[:3])
	require.Equal(t, math.Pow(2, 9), sum(signedRankCounts(9)))
	require.Equal(t, []float64{1, 1, 1, 2, 2, 3}, signedRankCounts(9)[:6])
}

// Three against three cannot give 95 %: the widest interval holds 90 %, since the
// most extreme ranking has 1 chance in 20 on each side.
func TestShiftSaysWhatItsIntervalHolds(t *testing.T) {
	s, err := HodgesLehmannTwo([]float64{1, 2, 3}, []float64{11, 12, 14}, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 0.90, s.Coverage, 1e-12)
	require.Equal(t, [2]float64{8, 13}, [2]float64{s.Low, s.High})
	s, err = HodgesLehmannOne([]float64{-1, -2, -3, -4, -5}, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 1-2.0/32, s.Coverage, 1e-12)
}

func TestShiftMovesWithTheValues(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	a, b := normals(rng, 7), normals(rng, 9)
	want, err := HodgesLehmannTwo(a, b, 0.95)
	require.NoError(t, err)
	for i := range b {
		b[i] += 3
	}
	got, err := HodgesLehmannTwo(a, b, 0.95)
	require.NoError(t, err)
	require.InDelta(t, want.Estimate+3, got.Estimate, 1e-12)
	require.InDelta(t, want.Low+3, got.Low, 1e-12)
	back, err := HodgesLehmannTwo(b, a, 0.95)
	require.NoError(t, err)
	require.InDelta(t, -got.High, back.Low, 1e-12)
	b[0] = 1e6 // one wild session moves it little
	wild, err := HodgesLehmannTwo(a, b, 0.95)
	require.NoError(t, err)
	require.InDelta(t, got.Estimate, wild.Estimate, 1)
}

func TestSampledBlocksAgreeWithAll(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	var a, b [][]float64
	for range 3 {
		a, b = append(a, normals(rng, 3)), append(b, normals(rng, 3))
	}
	all, err := PermutationBlocks(a, b) // 20³ arrangements
	require.NoError(t, err)
	require.Equal(t, 8000, all.Arrangements)
	var extreme, n int
	sampleBlocks(a, b, func(x float64) {
		if n++; math.Abs(x) >= math.Abs(all.Statistic)-1e-12 {
			extreme++
		}
	})
	require.InDelta(t, all.P, float64(extreme)/float64(n), 4*math.Sqrt(all.P*(1-all.P)/float64(n)))
}

func TestBootstrapIsTheSameEveryTime(t *testing.T) {
	old, new := []float64{412, 655, 301, 518, 730}, []float64{205, 160, 330, 241, 118}
	first, err := BCaRatio(old, new, 1000, 0.95)
	require.NoError(t, err)
	again, err := BCaRatio(old, new, 1000, 0.95)
	require.NoError(t, err)
	require.Equal(t, first, again)
	require.Equal(t, 126.0, first.Resamples, "five sessions have 126 resamples, C(9,5)")
	_, err = BCaRatio([]float64{5, 5, 5}, []float64{2, 2, 2}, 1000, 0.95)
	require.ErrorIs(t, err, ErrNoSpread)
}

// AR(1) values: the long-run variance is 1/(1−φ)² of the shocks' (Hamilton 1994,
// eq. 3.4.5 and 7.2.2). Blocks and Bartlett weights find most of it.
func TestSerialMeansKnowOfMemory(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	const phi, n = 0.8, 4000
	x := make([]float64, n)
	for i := 1; i < n; i++ {
		x[i] = phi*x[i-1] + rng.NormFloat64()
	}
	want := math.Sqrt(1 / (1 - phi) / (1 - phi) / n)
	s, err := NeweyWest(x, 60)
	require.NoError(t, err)
	require.InEpsilon(t, want, s.SE, 0.25)
	b, err := PolitisWhite(x)
	require.NoError(t, err)
	means := StationaryMeans(rng, x, b.Stationary, 1000)
	var ss float64
	for _, m := range means {
		ss += (m - mean(x)) * (m - mean(x))
	}
	require.InEpsilon(t, want, math.Sqrt(ss/1000), 0.3)
	independent, err := NeweyWest(x, 0)
	require.NoError(t, err)
	require.Less(t, independent.SE, want/2)
}

func TestOneRecordEachIsNarrowestBySeconds(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	record := func(level float64) []float64 {
		x, y := make([]float64, 240), 0.0
		for i := range x {
			y = 0.9*y + 0.2*rng.NormFloat64()
			x[i] = level + y
		}
		return x
	}
	r, err := OneRecordEach(record(5), record(4.6), 10, 2000, 0.95)
	require.NoError(t, err)
	seconds, serial, blocks := r.SecondsHigh/r.SecondsLow, r.SerialHigh/r.SerialLow, r.BlockHigh/r.BlockLow
	require.Less(t, seconds, serial)
	require.Less(t, seconds, blocks)
	require.True(t, r.BlockLow < r.Ratio && r.Ratio < r.BlockHigh)
}

// Two groups: F is the square of the pooled t (any textbook); groups may differ in size.
func TestAnovaOfTwoGroups(t *testing.T) {
	a, b := []float64{3, 5, 4}, []float64{8, 7, 9, 6}
	r, err := Anova([][]float64{a, nil, b})
	require.NoError(t, err)
	s2 := (2.0 + 5.0) / 5 // Σ(x − mean)² is 2 and 5
	d := 7.5 - 4.0
	require.InEpsilon(t, d*d/(s2*(1.0/3+1.0/4)), r.F, 1e-12)
	require.Positive(t, r.ICC)
}

func TestTooFewIsAnError(t *testing.T) {
	for name, err := range map[string]error{
		"shift": second(HodgesLehmannTwo(nil, []float64{1}, 0.95)), "paired shift": second(HodgesLehmannOne(nil, 0.95)),
		"blocks": second(PermutationBlocks(nil, nil)), "empty block": second(PermutationBlocks([][]float64{{1}}, [][]float64{{}})),
		"bootstrap": second(BCa([][]float64{{1}}, func([][]float64) float64 { return 0 }, 1000, 0.95)),
		"length":    second(PolitisWhite(make([]float64, 29))), "lag": second(NeweyWest([]float64{1, 2}, 2)),
		"anova": second(Anova([][]float64{{1, 2}})), "runs": second(RunsAsUnits([]Run{{Task: "a"}}, 0.95)),
	} {
		require.ErrorIs(t, err, ErrTooFew, name)
	}
	_, err := RunsAsUnits([]Run{{1, "a", false}, {2, "a", false}, {3, "b", true}, {4, "b", true}}, 0.95)
	require.ErrorIs(t, err, ErrTooFew, "task and setup cannot be told apart")
}

func second[T any](_ T, err error) error { return err }
