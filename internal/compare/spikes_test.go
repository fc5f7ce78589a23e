package compare

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// spiky has one reading of fifty times its neighbours in the second new run; echo
// says whether a second channel sees it.
func spiky(t *testing.T, echo bool) *shop {
	s := newShop(t)
	s.derive(dust.N05, func(x float64) float64 {
		if x > 5000 && !echo {
			return 2000
		}
		return 10 * x
	})
	day := monday
	for i, levels := range [][]float64{welchOld, welchNew} {
		s.setup([]string{"old hood", "new hood"}[i], day)
		for k, x := range levels {
			s.run("sanding", day, runLength, func(second int) float64 {
				if i == 1 && k == 1 && second == 100 {
					return 50 * x
				}
				return x
			})
			day = day.AddDate(0, 0, 1)
		}
	}
	return s
}

func TestASingleReadingWithoutEchoIsLeftOut(t *testing.T) {
	res := spiky(t, false).compare()
	require.InEpsilon(t, 0.3982775623717419, *res.Ratio, 1e-6) // case welch1, without the spike
	require.InDelta(t, 1.0/60, res.Coverage[1].MinutesExcluded["spike"], 1e-9)
	require.NotNil(t, res.WithSpikes)
	// 239 s of 160 and one of 8000: the run's mean is 192.67.
	want, err := WelchLogRatio(welchOld, []float64{205, (239*160 + 8000) / 240.0, 330, 241, 118}, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Ratio, *res.WithSpikes.Ratio, 1e-9)
	requireWarning(t, res, "left out as spikes")
}

func TestAReadingWithAnEchoStays(t *testing.T) {
	res := spiky(t, true).compare()
	require.Nil(t, res.WithSpikes)
	require.Greater(t, *res.Ratio, 0.3982775623717419)
	require.Empty(t, res.Coverage[1].MinutesExcluded)
}

// Small steps of whole numbers, a puff of several seconds and readings far apart
// are no spikes.
func TestWhatIsNoSpike(t *testing.T) {
	for name, c := range map[string]struct {
		step   time.Duration
		values []float64
	}{
		"rounding": {time.Second, []float64{0, 0, 0, 0, 3, 0, 0, 0, 0}},
		"puff":     {time.Second, []float64{9, 9, 9, 90, 90, 90, 90, 90, 90, 9, 9, 9}},
		"sparse":   {4 * time.Second, []float64{9, 9, 900, 9, 9}},
	} {
		series := dust.NewSeries(dust.Sensor{}, dust.PM25)
		for i, v := range c.values {
			require.NoError(t, series.Append(monday.Add(time.Duration(i)*c.step), v, 0))
		}
		s := &spikes{found: map[*dust.Series]spans{}}
		require.Empty(t, s.of(series), name)
	}
}
