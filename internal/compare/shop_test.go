package compare

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

// shop builds invented studies: one sensor, runs of tasks under two setups.
// Levels are chosen, not drawn, unless a test says otherwise.
type shop struct {
	t       *testing.T
	in      Input
	flags   dust.Flags
	step    time.Duration
	columns map[dust.Channel]func(level float64) float64 // further channels
}

var monday = time.Date(2024, 5, 6, 8, 0, 0, 0, time.UTC)

func newShop(t *testing.T) *shop {
	t.Helper()
	sensor := dust.Sensor{Name: "bench", Position: dust.BreathingZone}
	return &shop{t: t, step: time.Second, in: Input{
		Before: "old hood", After: "new hood", Metric: dust.PM25,
		Series: []*dust.Series{dust.NewSeries(sensor, dust.PM25)},
	}}
}

// derive adds a channel whose value is f of the metric's.
func (s *shop) derive(c dust.Channel, f func(level float64) float64) {
	if s.columns == nil {
		s.columns = map[dust.Channel]func(float64) float64{}
	}
	s.columns[c] = f
	s.in.Series = append(s.in.Series, dust.NewSeries(s.in.Series[0].Sensor, c))
}

// setup declares the setup in use from t on.
func (s *shop) setup(name string, t time.Time) {
	s.in.Setups = append(s.in.Setups, dust.SetupPeriod{Setup: name, From: t})
}

// run lets a task run for the given time at the levels that level yields for
// each second, and notes it in the diary.
func (s *shop) run(task string, start time.Time, length time.Duration, level func(i int) float64) {
	s.t.Helper()
	stop := start.Add(length)
	s.in.Tasks = append(s.in.Tasks, dust.Task{ID: int64(len(s.in.Tasks) + 1), Name: task, Start: start, Stop: stop})
	s.readings(start, stop, level)
}

func (s *shop) readings(start, stop time.Time, level func(i int) float64) {
	s.t.Helper()
	i := 0
	for at := start; at.Before(stop); at = at.Add(s.step) {
		x := level(i)
		for _, series := range s.in.Series {
			y := x
			if f := s.columns[series.Channel]; f != nil {
				y = f(x)
			}
			require.NoError(s.t, series.Append(at, y, s.flags))
		}
		i++
	}
}

func flat(x float64) func(int) float64 { return func(int) float64 { return x } }

const runLength = 4 * time.Minute

// blocks is a before/after study: sessions on days of their own, one task.
func (s *shop) blocks(old, new []float64) {
	day := monday
	for i, levels := range [][]float64{old, new} {
		s.setup([]string{s.in.Before, s.in.After}[i], day)
		for _, x := range levels {
			s.run("sanding", day, runLength, flat(x))
			day = day.AddDate(0, 0, 1)
		}
	}
}

// pairedDays has both setups on each day, the old one first on even days.
func (s *shop) pairedDays(old, new []float64) {
	for i := range old {
		day := monday.AddDate(0, 0, i)
		names, levels := []string{s.in.Before, s.in.After}, []float64{old[i], new[i]}
		if i%2 == 1 {
			names, levels = []string{s.in.After, s.in.Before}, []float64{new[i], old[i]}
		}
		for k := range names {
			at := day.Add(time.Duration(k) * 3 * time.Hour)
			s.setup(names[k], at)
			s.run("sanding", at, runLength, flat(levels[k]))
		}
	}
}

func (s *shop) compare() Result {
	s.t.Helper()
	res, err := Compare(s.in)
	require.NoError(s.t, err)
	return res
}

// scaled returns the series with every value times k.
func scaled(t *testing.T, series *dust.Series, k float64) *dust.Series {
	t.Helper()
	out := dust.NewSeries(series.Sensor, series.Channel)
	out.Hold = series.Hold
	for i := range series.Len() {
		at, x, flags := series.At(i)
		require.NoError(t, out.Append(at, k*x, flags))
	}
	return out
}

// ar1 is autocorrelated noise in ln units: y = φ·y + e, standard deviation sd.
func ar1(rng *rand.Rand, phi, sd float64) func() float64 {
	y := rng.NormFloat64() * sd
	return func() float64 {
		y = phi*y + rng.NormFloat64()*sd*math.Sqrt(1-phi*phi)
		return y
	}
}

func contains(s, part string) bool { return strings.Contains(s, part) }
