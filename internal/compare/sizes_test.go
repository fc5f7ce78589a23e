package compare

import (
	"math"
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
	require.Equal(t, "no fall of fine dust is shown; coarse dust fell, and more than fine dust", f.Answer.String())
	require.Contains(t, f.Why.String(), "indicative")
	require.Contains(t, f.Why.String(), "Fine dust (PM2.5) was 17 % lower and coarse dust (PM10 − PM2.5) 83 % lower")
	require.Contains(t, f.Why.String(), "Chips themselves are too large for the sensor and are not measured.")

	// The other way round in time: nothing fell, so neither did better.
	s.in.Before, s.in.After = s.in.After, s.in.Before
	f = s.compare().Fine
	require.InEpsilon(t, 1/want.Ratio, *f.Contrast, 1e-9)
	require.Equal(t, "no fall of fine dust is shown; coarse dust rose", f.Answer.String())
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
	require.Equal(t, "fine dust fell too, and coarse dust more", s.compare().Fine.Answer.String())
}

// What a study can say of fine and coarse dust, by what is shown of each.
func TestFineAnswers(t *testing.T) {
	const lower, higher = 0.5, 2.0
	for _, c := range []struct {
		fine, coarse Verdict
		contrast     float64 // fine ratio over coarse ratio
		want         string
	}{
		{ReducedEnough, ReducedUncertain, higher, "fine dust fell too, and coarse dust more"},
		{ReducedEnough, ReducedLess, lower, "fine dust fell, and more than coarse dust, which fell too"},
		{ReducedEnough, ReducedEnough, 1, "fine dust fell, and so did coarse dust; which of them fell more cannot be told"},
		{ReducedEnough, NoReductionShown, lower, "fine dust fell, and more than coarse dust, of which no fall is shown"},
		{ReducedEnough, NoReductionShown, higher, "fine dust fell; no fall of coarse dust is shown"},
		{ReducedEnough, Increased, lower, "fine dust fell; coarse dust rose"},
		{NoReductionShown, ReducedEnough, higher, "no fall of fine dust is shown; coarse dust fell, and more than fine dust"},
		{NoReductionShown, ReducedEnough, lower, "no fall of fine dust is shown; coarse dust fell"},
		{Increased, ReducedEnough, higher, "fine dust rose; coarse dust fell"},
		{NoReductionShown, NoneThatMatters, lower, "no fall of fine dust is shown, nor of coarse dust"},
		{Increased, NoReductionShown, higher, "fine dust rose; no fall of coarse dust is shown"},
		{Increased, Increased, lower, "fine dust rose; coarse dust rose"},
	} {
		e := estimate{ok: true, ratio: LogRatio{Low: 0.9 * c.contrast, High: 1.1 * c.contrast}, perm: Permutation{P: 0.01, Smallest: 0.01}}
		require.Equal(t, c.want, fallText(c.fine, c.coarse, fellMore(e, 0.05)).String())
	}
}

func TestFineOrChipsOfASensorThatMultiplies(t *testing.T) {
	const want = "cannot tell: the coarse channel is a fixed multiple of the fine one, so the sensor does not see coarse dust by itself"
	for name, pm10 := range map[string]func(x float64) float64{
		"exactly":                 func(x float64) float64 { return 1.6 * x },
		"rounded to hundredths":   func(x float64) float64 { return math.Round(160*x) / 100 },
		"with an offset, rounded": func(x float64) float64 { return math.Round(1000*(1.6*x+0.001*math.Log(x))) / 1000 },
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t)
			s.derive(dust.PM10, pm10)
			s.blocks([]float64{100.13, 140.77, 90.41, 120.9, 160.3}, []float64{80.2, 110.9, 85.7, 105.1, 125.6})
			f := s.compare().Fine
			require.Equal(t, want, f.Answer.String())
			require.Contains(t, f.Why.String(), "which real dust never does")
			require.InEpsilon(t, 1, *f.Contrast, 1e-3)
		})
	}
	s := newShop(t)
	s.derive(dust.PM10, func(x float64) float64 { return 1.6 * x })
	s.blocks(welchOld, welchNew)
	require.Nil(t, s.compare().Fine.CILow)
}

// Five sessions of each, but the new setup leaves no coarse dust to speak of: the
// reason is not the number of sessions.
func TestFineOrChipsNearTheBackground(t *testing.T) {
	s := newShop(t)
	s.derive(dust.PM10, func(x float64) float64 {
		if x < 300 {
			return x + 1 // 1 µg/m³ of coarse dust
		}
		return 2*x + x*x/1000
	})
	s.blocks([]float64{412, 655, 301, 518, 730}, []float64{205, 160, 130, 241, 118})
	f := s.compare().Fine
	require.Equal(t, "cannot tell: in 5 of 10 runs fine or coarse dust cannot be told from the background", f.Answer.String())
	require.Contains(t, f.Why.String(), "5 sessions before and 0 after")
	require.NotContains(t, f.Why.String(), "NaN")
}

func TestFineOrChipsWithoutReadingsOfBoth(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	s.in.Series = append(s.in.Series, dust.NewSeries(s.in.Series[0].Sensor, dust.PM10))
	require.NoError(t, s.in.Series[1].Append(monday, 1000, 0)) // one reading of PM10 in all
	f := s.compare().Fine
	require.Equal(t, "cannot tell: 10 of 10 runs lack readings of fine or coarse dust", f.Answer.String())

	s = newShop(t)
	s.derive(dust.PM10, func(x float64) float64 { return 2*x + x*x/1000 })
	s.blocks(welchOld[:2], welchNew)
	f = s.compare().Fine
	require.Equal(t, "cannot tell: too little data", f.Answer.String())
	require.Contains(t, f.Why.String(), "2 sessions before and 5 after")

	s = newShop(t)
	s.derive(dust.PM10, func(x float64) float64 { return 2*x + x*x/1000 })
	s.setup("old hood", monday)
	s.setup("new hood", monday.AddDate(0, 0, 3))
	for i := range 6 {
		s.run([]string{"sanding", "sawing"}[i/3], monday.AddDate(0, 0, i), runLength, flat(float64(100+i)))
	}
	require.Equal(t, "cannot tell: no task was done under both setups", s.compare().Fine.Answer.String())
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
		labels, keys = append(labels, row.Label.String()), append(keys, row.Metric)
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
	for _, o := range res.Outcomes { // one family: all that was not chosen beforehand
		require.True(t, o.Secondary)
		if o.PValue != nil {
			p = append(p, *o.PValue)
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
	require.Contains(t, res.Bins[2].Note.String(), "indicative")
	require.Contains(t, res.Bins[1].Note.String(), "indicative")
	require.Empty(t, res.Bins[0].Note)
	require.True(t, res.Fine.Fine.Secondary)
}
