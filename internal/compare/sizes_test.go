package compare

import (
	"testing"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

// Fine and coarse levels of ten sessions; the numbers are invented.
var (
	fineOld   = []float64{100, 140, 90, 120, 160}
	fineNew   = []float64{80, 110, 85, 105, 125}
	coarseOld = []float64{900, 1500, 700, 1100, 1700}
	coarseNew = []float64{150, 260, 140, 210, 240}
)

// coarseBy gives PM10 for the PM2.5 levels above.
func coarseBy(level float64) float64 {
	for i := range fineOld {
		if level == fineOld[i] {
			return level + coarseOld[i]
		}
		if level == fineNew[i] {
			return level + coarseNew[i]
		}
	}
	return level
}

func quotients(a, b []float64) []float64 {
	q := make([]float64, len(a))
	for i := range a {
		q[i] = a[i] / b[i]
	}
	return q
}

func TestFineOrChips(t *testing.T) {
	s := newShop(t)
	s.derive(dust.PM10, coarseBy)
	s.blocks(fineOld[:], fineNew[:])
	res := s.compare()
	want, err := WelchLogRatio(quotients(fineOld, coarseOld), quotients(fineNew, coarseNew), 0.95)
	require.NoError(t, err)
	f := res.Fine
	require.NotNil(t, f)
	require.InEpsilon(t, want.Ratio, *f.Contrast, 1e-9)
	require.InEpsilon(t, want.Low, *f.CILow, 1e-9)
	require.InEpsilon(t, want.High, *f.CIHigh, 1e-9)
	require.InEpsilon(t, *f.Fine.Ratio / *f.Coarse.Ratio, *f.Contrast, 1e-9)
	require.Equal(t, "coarse dust fell, a fall of fine dust is not shown; coarse dust did better than fine dust", f.Answer)
	require.Contains(t, f.Why, "indicative")

	// The other way round in time: nothing fell, and fine dust did better.
	s.in.Before, s.in.After = s.in.After, s.in.Before
	f = s.compare().Fine
	require.InEpsilon(t, 1/want.Ratio, *f.Contrast, 1e-9)
	require.Equal(t, "a fall is shown of neither; fine dust did better than coarse dust", f.Answer)
}

func TestFineOrChipsWhenBothFell(t *testing.T) {
	s := newShop(t)
	s.derive(dust.PM10, coarseBy)
	half := make([]float64, 5)
	for i, x := range fineNew {
		half[i] = x / 4
	}
	// PM2.5 a quarter of fineNew, coarse dust as in coarseNew.
	s.columns[dust.PM10] = func(x float64) float64 {
		for i := range half {
			if x == half[i] {
				return x + coarseNew[i]/3
			}
		}
		return coarseBy(x)
	}
	s.blocks(fineOld, half)
	require.Equal(t, "both fell, coarse dust more than fine dust", s.compare().Fine.Answer)
}

func TestFineOrChipsOfASensorThatMultiplies(t *testing.T) {
	s := newShop(t)
	s.derive(dust.PM10, func(x float64) float64 { return 1.6 * x })
	s.blocks(welchOld, welchNew)
	f := s.compare().Fine
	require.Equal(t, "cannot tell", f.Answer)
	require.Contains(t, f.Why, "work out one from the other")
	require.InEpsilon(t, 1, *f.Contrast, 1e-9)
	require.Nil(t, f.CILow)
}

func TestNoFineOrChipsWithoutCoarse(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	require.Nil(t, s.compare().Fine)
}

func TestBySizeUsesDifferentialCounts(t *testing.T) {
	s := newShop(t)
	s.derive(dust.PM1, func(x float64) float64 { return 0.6 * x })
	s.derive(dust.N03, func(x float64) float64 { return 10*x + 2*x + x*x/100 })
	s.derive(dust.N05, func(x float64) float64 { return 2*x + x*x/100 })
	s.derive(dust.N10, func(x float64) float64 { return x * x / 100 })
	s.derive(dust.NPM05, func(x float64) float64 { return x })
	s.derive(dust.NPM1, func(x float64) float64 { return x + x*x/1000 })
	s.blocks(welchOld, welchNew)
	res := s.compare()
	var labels, keys []string
	for _, row := range res.Bins {
		labels, keys = append(labels, row.Label), append(keys, row.Metric)
	}
	require.Equal(t, []string{"PM1", "PM2.5", "0.3–0.5 µm", "0.5–1 µm", "> 1 µm", "0.3–0.5 µm", "0.5–1 µm"}, labels)
	require.Equal(t, []string{"pm1_ug_m3", "pm2_5_ug_m3", "n0_3_minus_n0_5_cm3", "n0_5_minus_n1_0_cm3", "n1_0_cm3",
		"nPM0_5_cm3", "nPM1_0_minus_nPM0_5_cm3"}, keys)

	r := *res.Ratio // 10·x is what lies between 0.3 and 0.5 µm: same ratio; x² squares it
	require.InEpsilon(t, r, *res.Bins[2].Ratio, 1e-9)
	require.InEpsilon(t, r, *res.Bins[3].Ratio, 1e-9)
	require.InEpsilon(t, r*r, *res.Bins[4].Ratio, 1e-9)
	require.InEpsilon(t, r*r, *res.Bins[6].Ratio, 1e-9)

	require.False(t, res.Bins[1].Secondary)
	require.Nil(t, res.Bins[1].PAdjusted)
	var p []float64
	for i, row := range res.Bins {
		if i != 1 {
			require.True(t, row.Secondary)
			p = append(p, *row.PValue)
		}
	}
	adjusted := Holm(p)
	require.InDelta(t, adjusted[0], *res.Bins[0].PAdjusted, 1e-15)
	require.InDelta(t, adjusted[5], *res.Bins[6].PAdjusted, 1e-15)
	require.Greater(t, *res.Bins[6].PAdjusted, *res.Bins[6].PValue)
}

func TestBySizeOfACoarseOnlyMetric(t *testing.T) {
	s := newShop(t)
	s.derive(dust.PM10, coarseBy)
	s.derive(dust.PM4, func(x float64) float64 { return 1.3 * x })
	s.in.Metric = dust.PM10
	s.blocks(fineOld, fineNew)
	res := s.compare()
	require.Equal(t, "pm10", res.Metric)
	require.Equal(t, *res.Ratio, *res.Bins[2].Ratio)
	require.Contains(t, res.Bins[2].Note, "indicative")
	require.Contains(t, res.Bins[1].Note, "indicative")
	require.Empty(t, res.Bins[0].Note)
	require.True(t, res.Fine.Fine.Secondary)
}
