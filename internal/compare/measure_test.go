package compare

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"

	"github.com/stretchr/testify/require"
)

// A fifth of each run holds a value that no air can have, flagged by nobody: it
// is left out, as it would be with its flag.
func TestImpossibleValuesAreNotMeasured(t *testing.T) {
	for name, c := range map[string]struct {
		value float64
		flag  dust.Flags
	}{
		"no number":      {math.NaN(), dust.MissingValue},
		"infinite":       {math.Inf(1), dust.MissingValue},
		"minus infinite": {math.Inf(-1), dust.MissingValue},
		"below zero":     {-5, dust.NegativeMass},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t)
			day := monday
			for i, levels := range [][]float64{welchOld, welchNew} {
				s.setup([]string{s.in.Before, s.in.After}[i], day)
				for _, x := range levels {
					s.run("sanding", day, runLength, func(i int) float64 {
						if i%5 == 2 {
							return c.value
						}
						return x
					})
					day = day.AddDate(0, 0, 1)
				}
			}
			res := s.compare()
			require.InEpsilon(t, 0.3982775623717419, *res.Ratio, 1e-6) // case welch1
			require.InDelta(t, 4, res.Coverage[0].MinutesExcluded[c.flag.String()], 1e-9)
			require.InDelta(t, 16, res.Coverage[0].MinutesMeasured, 1e-9)
		})
	}
}

// texts are all words of a result for people.
func texts(res Result) []string {
	list := append([]words.Text{res.Why, res.DesignWhy, res.Caution, res.Method}, res.Warnings...)
	for _, x := range res.Excluded {
		list = append(list, x.Name, x.Why)
	}
	for _, row := range res.Bins {
		list = append(list, row.Note)
	}
	if res.Fine != nil {
		list = append(list, res.Fine.Answer, res.Fine.Why)
	}
	return words.Strings(list)
}

// Numbers at the ends of what a float holds give no NaN, no infinity and no
// panic, in numbers or in words.
func TestAbsurdValues(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	absurd := []float64{0, 50, 60, 200, 1e-300, 5e-324, 1e150, 1e300, math.MaxFloat64, -1e300, math.NaN(), math.Inf(1)}
	for range 150 {
		s := newShop(t)
		s.step = 4 * time.Second
		s.derive(dust.PM10, func(x float64) float64 { return x * []float64{1, 1.5, 1e5}[rng.IntN(3)] })
		pick := func() float64 { return absurd[rng.IntN(len(absurd))] }
		if rng.IntN(2) == 0 {
			s.blocks([]float64{pick(), pick(), pick(), 100}, []float64{pick(), pick(), pick(), 120})
		} else {
			s.pairedDays([]float64{pick(), pick(), pick(), 100}, []float64{pick(), pick(), pick(), 120})
		}
		if rng.IntN(3) == 0 {
			s.in.Background = s.in.Series[0]
		}
		res := s.compare()
		_, err := json.Marshal(res)
		require.NoError(t, err)
		for _, text := range texts(res) {
			require.NotContains(t, text, "NaN")
			require.NotContains(t, text, "Inf")
			require.Less(t, len(text), 1200, text)
		}
	}
}

func TestAMeanOfHugeValuesStaysANumber(t *testing.T) {
	series := dust.NewSeries(dust.Sensor{}, dust.PM25)
	for i := range 600 {
		require.NoError(t, series.Append(monday.Add(time.Duration(i)*time.Second), 1e308, 0))
	}
	require.InEpsilon(t, 1e308, measure(series, monday, monday.Add(10*time.Minute), look{}).mean(), 1e-12)
}

// Fieller's ratio has no unit: a common factor changes nothing, however large.
func TestFiellerDoesNotDependOnScale(t *testing.T) {
	want, err := FiellerRatio(welchOld, welchNew, 0.95)
	require.NoError(t, err)
	for _, k := range []float64{1e-200, 1e300} {
		old, new := make([]float64, 5), make([]float64, 5)
		for i := range 5 {
			old[i], new[i] = k*welchOld[i], k*welchNew[i]
		}
		got, err := FiellerRatio(old, new, 0.95)
		require.NoError(t, err)
		require.InEpsilon(t, want.Low, got.Low, 1e-9)
		require.InEpsilon(t, want.High, got.High, 1e-9)
		require.InEpsilon(t, want.P, got.P, 1e-9)
	}
}

// One absurd session of each setup: the limits of the slope leave the range of
// numbers, so no slope is told.
func TestASlopeBeyondNumbersIsNotTold(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{100, 1e300, 100}, []float64{100, 1e300, 120})
	res := s.compare()
	require.Nil(t, res.TrendPercentPerDay)
	require.Nil(t, res.TrendLow)
	require.Nil(t, res.TrendHigh)
	requireWarning(t, res, "drift and season are in the ratio")
}
