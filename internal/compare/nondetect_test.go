package compare

import (
	"testing"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

// One of ten runs is below 3 µg/m³: few enough for stand-in values.
func TestCompareStandsInForNonDetects(t *testing.T) {
	old, new := []float64{412, 655, 301, 518, 730}, []float64{20, 16, 1, 24, 12}
	s := newShop(t)
	s.blocks(old, new)
	res := s.compare()
	new[2] = 3 // after the change: the limit itself, against the claim
	want, err := WelchLogRatio(old, new, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Ratio, *res.Ratio, 1e-9)
	require.InEpsilon(t, want.High, *res.CIHigh, 1e-9)
	require.Equal(t, ReducedEnough, res.Verdict)
	require.Equal(t, 1, res.Coverage[1].NonDetects)
	require.Equal(t, "geometric mean", res.MeanKind)
	require.Equal(t, "geometric mean", res.Bins[0].MeanKind)
	requireWarning(t, res, "0 runs before and 1 after are below 3 µg/m³")
}

// The word would flip with the opposite stand-in values: then none is shown.
func TestCompareHangsOnNonDetects(t *testing.T) {
	old := []float64{6, 6.5, 7, 6.2, 6.8, 6.6}
	new := []float64{5, 4.6, 4.9, 1, 1, 4.8}
	usual, err := WelchLogRatio(old, []float64{5, 4.6, 4.9, 3, 3, 4.8}, 0.95)
	require.NoError(t, err)
	swapped, err := WelchLogRatio(old, []float64{5, 4.6, 4.9, 1.5, 1.5, 4.8}, 0.95)
	require.NoError(t, err)
	require.NotEqual(t, VerdictFor(usual.Low, usual.High, 0.15), VerdictFor(swapped.Low, swapped.High, 0.15))
	s := newShop(t)
	s.in.SmallestChangePercent = 15
	s.blocks(old, new)
	res := s.compare()
	require.Equal(t, NoReductionShown, res.Verdict)
	require.Contains(t, res.Why.String(), "hangs on how runs that cannot be told from the background are counted")
}

// A new setup that leaves nothing above the background: no logarithm of it, but
// Fieller's interval on the session means (case fieller1 is the same formula).
func TestCompareManyNonDetects(t *testing.T) {
	old, new := []float64{412, 655, 301, 518, 730}, []float64{1, 0, 2, 0.5, 1.5}
	s := newShop(t)
	s.blocks(old, new)
	res := s.compare()
	want, err := FiellerRatio(old, new, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Ratio, *res.Ratio, 1e-9)
	require.InEpsilon(t, want.High, *res.CIHigh, 1e-9)
	require.Zero(t, *res.CILow) // below zero there is no dust
	require.Equal(t, *res.GMAfter / *res.GMBefore, *res.Ratio)
	require.Equal(t, ReducedEnough, res.Verdict)
	require.Contains(t, res.Method.String(), "Fieller")
	require.Equal(t, "arithmetic mean", res.MeanKind)
	require.Equal(t, "arithmetic mean", res.Bins[0].MeanKind)
	requireWarning(t, res, "not geometric means")
}

func TestCompareNothingAboveTheBackground(t *testing.T) {
	for _, c := range []struct{ old, new []float64 }{
		{[]float64{10, 11, 12}, []float64{9, 10, 11}},  // below the background of 20
		{[]float64{20, 20, 20}, []float64{20, 20, 20}}, // exactly at it
		{[]float64{21, 20, 20}, []float64{200, 300, 250}},
	} {
		s := newShop(t)
		s.blocks(c.old, c.new)
		outside := dust.NewSeries(dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
		for i := range s.in.Series[0].Len() {
			at, _, _ := s.in.Series[0].At(i)
			require.NoError(t, outside.Append(at, 20, 0))
		}
		s.in.Background = outside
		res := s.compare()
		require.NotContains(t, []Verdict{ReducedEnough, ReducedLess, ReducedUncertain}, res.Verdict)
		require.NotEmpty(t, res.Why)
		require.NotContains(t, res.Why.String(), "NaN")
	}
}

func TestFiellerUnboundedHasNoInterval(t *testing.T) {
	r, err := FiellerRatio([]float64{1, 100, 3}, []float64{2, 5, 9}, 0.95)
	require.NoError(t, err)
	require.True(t, r.Unbounded())
	require.Nil(t, ptr(r.Low))
	s := newShop(t)
	s.blocks([]float64{1, 100, 2}, []float64{1, 2, 1})
	res := s.compare()
	require.Nil(t, res.CILow)
	require.Equal(t, NoReductionShown, res.Verdict)
	require.Contains(t, res.Why.String(), "too unsure for an interval")
}

func TestCompareWarnsOfSaturationAndHumidity(t *testing.T) {
	s := newShop(t)
	s.setup("old hood", monday)
	s.flags = dust.Saturated | dust.Humid
	for i := range 3 {
		s.run("sanding", monday.AddDate(0, 0, i), runLength, flat(float64(990+i)))
	}
	s.flags = 0
	s.setup("new hood", monday.AddDate(0, 0, 3))
	for i := range 3 {
		s.run("sanding", monday.AddDate(0, 0, 3+i), runLength, flat(float64(400+i)))
	}
	res := s.compare()
	requireWarning(t, res, "top of its range for more than 1 % of 3 runs before and 0 after")
	requireWarning(t, res, "100 % of the time before, 0 % after")
}

func TestCompareWarnsOfOtherMaterial(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	for i := range s.in.Tasks {
		s.in.Tasks[i].Material = []string{"oak", "pine"}[i/5]
	}
	requireWarning(t, s.compare(), "different materials before and after in sanding")
	s.in.Tasks[9].Material = "oak"
	for _, w := range s.compare().Warnings {
		require.NotContains(t, w.String(), "materials")
	}
}
