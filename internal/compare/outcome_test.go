package compare

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func (r Result) outcome(t *testing.T, label string) Outcome {
	t.Helper()
	for _, o := range r.Outcomes {
		if contains(o.Label.String(), label) {
			return o
		}
	}
	require.Failf(t, "no such outcome", label)
	return Outcome{}
}

// Runs of equal length: the dose of a task has the same ratio as its mean.
func TestDosePerTask(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	res := s.compare()
	o := res.outcome(t, "dose per task")
	require.InEpsilon(t, *res.Ratio, *o.Ratio, 1e-9)
	require.InEpsilon(t, 4**res.GMBefore, *o.Before, 1e-9) // 4 min
	require.Equal(t, "µg/m³·min", o.Unit)
	// Twice as long under the new setup: twice the dose, the same mean.
	for i := 5; i < 10; i++ {
		s.in.Tasks[i].Stop = s.in.Tasks[i].Start.Add(runLength / 2)
	}
	halved := s.compare()
	require.InEpsilon(t, *res.Ratio, *halved.Ratio, 1e-9)
	require.InEpsilon(t, *o.Ratio/2, *halved.outcome(t, "dose per task").Ratio, 1e-9)
}

// long is a before/after study with runs of half an hour, of which the first five
// minutes are at three times the level.
func long(t *testing.T, old, new []float64, length time.Duration) *shop {
	s := newShop(t)
	s.step = 5 * time.Second
	day := monday
	for i, levels := range [][]float64{old, new} {
		s.setup([]string{"old hood", "new hood"}[i], day)
		for _, x := range levels {
			s.run("sanding", day, length, func(k int) float64 {
				if k < 60 {
					return 3 * x
				}
				return x
			})
			day = day.AddDate(0, 0, 1)
		}
	}
	return s
}

// Highest 15 min: 5 min at 3x and 10 min at x is 5/3 of the level, so the ratio of
// session maxima is Welch's of the levels (case welch1).
func TestHighest15Minutes(t *testing.T) {
	s := long(t, welchOld, welchNew, 30*time.Minute)
	o := s.compare().outcome(t, "highest 15 min")
	require.InEpsilon(t, 0.3982775623717419, *o.Ratio, 1e-6)
	require.InEpsilon(t, 0.23023838636877136, *o.CILow, 1e-6)
	require.InEpsilon(t, 5.0/3*math.Exp(meanLn(t, welchOld)), *o.Before, 1e-9)

	// Sessions twice as long after the change: a maximum grows with time.
	for i := 5; i < 10; i++ {
		s.in.Tasks[i].Stop = s.in.Tasks[i].Start.Add(20 * time.Minute)
	}
	o = s.compare().outcome(t, "highest 15 min")
	require.NotNil(t, o.Ratio)
	require.Nil(t, o.CILow)
	require.Nil(t, o.PAdjusted)
	require.Contains(t, o.Note.String(), "grows with time")
}

func meanLn(t *testing.T, x []float64) float64 {
	m, _ := meanSD(mustLogs(t, x...))
	return m
}

// Shares of time above 400 µg/m³: the first sixth of each run is at three times
// its level, so a session is above for all, a sixth or none of its time.
func TestTimeAboveALevel(t *testing.T) {
	s := long(t, []float64{412, 655, 301, 518, 730}, []float64{205, 160, 130, 141, 118}, 30*time.Minute)
	s.in.Level = 400
	o := s.compare().outcome(t, "time above 400")
	sixth := 100.0 / 6
	old, new := []float64{100, 100, sixth, 100, 100}, []float64{sixth, sixth, 0, sixth, 0}
	require.InDelta(t, mean(old), *o.Before, 0.3)
	require.InDelta(t, mean(new), *o.After, 0.3)
	require.Nil(t, o.Ratio)
	require.InDelta(t, -(100 - sixth), *o.Difference, 0.3) // the median of the 25 differences
	perm, err := PermutationTwoSample(old, new)
	require.NoError(t, err)
	require.InDelta(t, perm.P, *o.PValue, 1e-9)
	s.in.Level = 0
	for _, o := range s.compare().Outcomes {
		require.NotContains(t, o.Label.String(), "time above")
	}
}

func mean(x []float64) float64 { m, _ := meanSD(x); return m }

func TestExhaustAgainstRoom(t *testing.T) {
	s := newShop(t)
	s.in.Exhaust = dust.NewSeries(dust.Sensor{Name: "outlet", Position: dust.Exhaust}, dust.PM25)
	s.blocks(welchOld, welchNew)
	share := []float64{0.5, 0.6, 0.55, 0.52, 0.58, 0.1, 0.12, 0.09, 0.11, 0.1}
	for i, task := range s.in.Tasks {
		for at := task.Start; at.Before(task.Stop); at = at.Add(time.Second) {
			level := append(append([]float64{}, welchOld...), welchNew...)[i]
			require.NoError(t, s.in.Exhaust.Append(at, share[i]*level, 0))
		}
	}
	o := s.compare().outcome(t, "outlet ÷ here")
	want, err := WelchLogRatio(share[:5], share[5:], 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Ratio, *o.Ratio, 1e-9)
	require.InEpsilon(t, want.High, *o.CIHigh, 1e-9)
	require.Contains(t, o.Note.String(), "exchange them for half of the runs")
}

// An air cleaner that doubles the clearance: the rate is found under each setup,
// and with it what the run before left.
func TestClearanceIsAnOutcome(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	slow := room{lambda: 3, share: 0.5, indoors: 2, noise: 0.02}.days(t, rng, 8, 1, true)
	fast := room{lambda: 6, share: 0.5, indoors: 2, noise: 0.02}.days(t, rng, 8, 1, true)
	s := newShop(t)
	s.in.Background = dust.NewSeries(dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
	for k, part := range []*shop{slow, fast} {
		shift := time.Duration(k) * 30 * 24 * time.Hour
		s.setup([]string{"old hood", "new hood"}[k], monday.Add(shift))
		for _, task := range part.in.Tasks {
			task.Start, task.Stop = task.Start.Add(shift), task.Stop.Add(shift)
			s.in.Tasks = append(s.in.Tasks, task)
		}
		for i, series := range []*dust.Series{part.in.Series[0], part.in.Background} {
			for j := range series.Len() {
				at, x, _ := series.At(j)
				require.NoError(t, []*dust.Series{s.in.Series[0], s.in.Background}[i].Append(at.Add(shift), x, 0))
			}
		}
	}
	res := s.compare()
	o := res.outcome(t, "clearance rate")
	// Outdoor air that changes meanwhile costs some percent.
	require.InEpsilon(t, 3, *o.Before, 0.08)
	require.InEpsilon(t, 6, *o.After, 0.08)
	require.InEpsilon(t, 2, *o.Ratio, 0.08)
	require.InEpsilon(t, 3, *res.Background.ClearanceOld, 0.08)
	require.InEpsilon(t, 6, *res.Background.ClearanceNew, 0.08)
}
