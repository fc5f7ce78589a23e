package group

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// lognormals are n values of the given GM and GSD.
func lognormals(r *rand.Rand, n int, gm, gsd float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = gm * math.Exp(r.NormFloat64()*math.Log(gsd))
	}
	return x
}

// censoredBelow turns values under a detection limit into shifts below it.
func censoredBelow(limit float64, x []float64) []Value {
	values := valuesOf(x...)
	for i := range values {
		if values[i].MgM3 < limit {
			values[i].MgM3, values[i].Below = limit, true
		}
	}
	return values
}

// concentrations are the summary's numbers in mg/m³, shares its numbers without.
func concentrations(s Summary) map[string]*float64 {
	return map[string]*float64{"highest": s.Highest, "mean": s.Mean, "gm": s.GM, "p95": s.P95, "utl95_95": s.UTL95_95, "utl95_70": s.UTL95_70,
		"mvue": s.MeanUnbiased, "land low": s.MeanLow, "land high": s.MeanHigh}
}

func shares(s Summary) map[string]*float64 {
	return map[string]*float64{"gsd": s.GSD, "exceedance": s.Exceedance, "low": s.ExceedanceLow, "high": s.ExceedanceHigh,
		"w": s.ShapiroWilkW, "p": s.ShapiroWilkP, "lag1": s.Lag1}
}

func requireAlike(t *testing.T, k float64, want, got map[string]*float64) {
	t.Helper()
	for name, a := range want {
		b := got[name]
		require.Equal(t, a == nil, b == nil, name)
		if a != nil {
			require.InDelta(t, k**a, *b, 1e-8*math.Abs(k**a)+1e-12, name)
		}
	}
}

// Law: in other units everything is the same. Values and limit times k give every
// concentration times k and every share and finding as it was.
func TestScaling(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 89))
	for range 20 {
		n, k := 1+r.IntN(25), math.Exp(6*r.NormFloat64())
		x := lognormals(r, n, 0.5, 1+2*r.Float64())
		floor := 0.4 * r.Float64()
		scaled := make([]float64, n)
		for i := range x {
			scaled[i] = k * x[i]
		}
		a := Summarise(valuesOf(x...), 2, Options{FloorMgM3: floor})
		b := Summarise(valuesOf(scaled...), 2*k, Options{FloorMgM3: floor * k})
		requireAlike(t, k, concentrations(a), concentrations(b))
		requireAlike(t, 1, shares(a), shares(b))
		require.Equal(t, a.Finding, b.Finding)
		require.Equal(t, a.Category, b.Category)
	}
}

// Law: the order of the shifts matters to nothing but the autocorrelation.
func TestOrderDoesNotMatter(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, floor := range []float64{0, 0.4} {
		x := lognormals(r, 12, 0.5, 2)
		a := Summarise(valuesOf(x...), 2, Options{FloorMgM3: floor})
		r.Shuffle(len(x), func(i, j int) { x[i], x[j] = x[j], x[i] })
		b := Summarise(valuesOf(x...), 2, Options{FloorMgM3: floor})
		a.Lag1, b.Lag1 = nil, nil
		requireAlike(t, 1, concentrations(a), concentrations(b))
		requireAlike(t, 1, shares(a), shares(b))
		require.Equal(t, a.Statements, b.Statements)
	}
}

// Law: with more shifts of the same mean and spread every limit moves in.
func TestMoreShiftsTellMore(t *testing.T) {
	last := math.Inf(1)
	lastHigh, lastLand := 1.0, math.Inf(1)
	for n := 3; n <= 60; n += 3 {
		d := Lognormal{N: n, Mean: math.Log(0.5), SD: math.Log(2)}
		utl := value(t)(d.UpperTolerance(0.95, 0.95))
		share, low, high, err := d.Exceedance(2, 0.95)
		require.NoError(t, err)
		_, land, err := d.LandMean(0.95)
		require.NoError(t, err)
		require.Less(t, utl, last)
		require.Less(t, high, lastHigh)
		require.Less(t, land, lastLand)
		require.Less(t, d.Percentile(0.95), utl)
		require.True(t, low < share && share < high)
		last, lastHigh, lastLand = utl, high, land
	}
	// In the end they meet the estimates: n = 100 000, five digits of GSD.
	d := Lognormal{N: 100_000, Mean: 0, SD: math.Log(2)}
	require.InEpsilon(t, d.Percentile(0.95), value(t)(d.UpperTolerance(0.95, 0.95)), 0.01)
	low, high, err := d.LandMean(0.95)
	require.NoError(t, err)
	mean := math.Exp(d.SD * d.SD / 2) // of a lognormal distribution, exactly
	require.InEpsilon(t, mean, low, 0.01)
	require.InEpsilon(t, mean, high, 0.01)
	require.InEpsilon(t, mean, value(t)(d.MeanMVUE()), 1e-4)
}

// Law: the tolerance limit is the level at which the exceedance's upper limit is
// exactly the share left over. Both come from the same noncentral t.
func TestToleranceAndExceedanceAreOne(t *testing.T) {
	for _, n := range []int{3, 6, 10, 30} {
		d := Lognormal{N: n, Mean: -0.3, SD: 0.7}
		_, _, high, err := d.Exceedance(value(t)(d.UpperTolerance(0.95, 0.95)), 0.95)
		require.NoError(t, err)
		require.InDelta(t, 0.05, high, 1e-8)
	}
}

// Law: a prior that says nothing gives back the tolerance limit.
func TestFlatPriorIsTheToleranceLimit(t *testing.T) {
	d := fitted(t, welding)
	q, err := Prior{A0: -0.5, B0: 1e-12}.Update(d)
	require.NoError(t, err)
	require.InEpsilon(t, value(t)(d.UpperTolerance(0.95, 0.95)), q.PercentileLimit(0.95, 0.95), 1e-8)
	require.InDelta(t, 0.70, q.ChanceBelow(value(t)(d.UpperTolerance(0.95, 0.70)), 0.95), 1e-8)
}

// Law: with nothing below detection all three ways are the ordinary one.
func TestWithoutNonDetectsTheMethodsAgree(t *testing.T) {
	values := valuesOf(welding...)
	plain := fitted(t, welding)
	r, err := FitROS(values)
	require.NoError(t, err)
	m, err := FitMLE(values)
	require.NoError(t, err)
	require.InDelta(t, plain.Mean, r.Lognormal().Mean, 1e-12)
	require.InDelta(t, plain.SD, r.Lognormal().SD, 1e-12)
	require.InDelta(t, plain.Mean, m.Lognormal().Mean, 1e-10)
	require.InDelta(t, plain.SD, m.Lognormal().SD, 1e-10)
	require.InDelta(t, 7.42/6, NewKaplanMeier(values).Mean(), 1e-12) // sum by hand
	require.Zero(t, NewKaplanMeier(values).MassBelow())
	// Weibull's positions r/(n+1), the third value being the lowest.
	require.InDeltaSlice(t, []float64{2. / 7, 3. / 7, 1. / 7, 4. / 7, 5. / 7, 6. / 7}, PlottingPositions(values), 1e-12)
}

// Law: if all samples are at the limit, work that varies is work that does not,
// less the √(1+CV²); by hand from the two formulas of NIOSH 77-173.
func TestOneDayFormulasMeet(t *testing.T) {
	samples := []Sample{{5, 60}, {5, 200}, {5, 220}}
	uniform, err := OneDayUniform(samples, 5, 0.1)
	require.NoError(t, err)
	varying, err := OneDayVarying(samples, 5, 0.1)
	require.NoError(t, err)
	require.InDelta(t, 1, uniform.Ratio, 1e-12)
	require.InDelta(t, (1-uniform.Low)/math.Sqrt(1.01), 1-varying.Low, 1e-12)
	require.InDelta(t, uniform.High-1, 1-uniform.Low, 1e-12)
	require.Equal(t, DayMayOver, uniform.Finding())
}

// By hand: 6 of 8 hours measured, so the measured part must be above 8/6 = 1.33 of
// the limit (NIOSH 77-173, 4.2.3).
func TestPartialPeriod(t *testing.T) {
	for ratio, want := range map[float64]OneDayFinding{1.3: DayUntold, 1.4: DayMayOver, 1.6: DayOver} {
		day, err := OneDaySingle(ratio, 1, 0.1)
		require.NoError(t, err)
		got, err := day.PartialFinding(6, 8)
		require.NoError(t, err)
		require.Equal(t, want, got, ratio)
	}
	below, err := OneDaySingle(0.5, 1, 0.1)
	require.NoError(t, err)
	require.Equal(t, DayBelow, below.Finding())
}
