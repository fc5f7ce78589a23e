package airflow

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/units"
)

// Of filters that do not load, 2.5 % are to be called rising by an interval of 95 %.
// 2000 filters, seed 11; standard error 0.35 %.
func TestFiltersThatDoNotLoadAreSeldomCalledRising(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 11))
	const filters = 2000
	rising := 0
	for range filters {
		var list []DropReading
		for i := range 8 {
			q := units.Flow(0.25 * (1 + 0.1*r.NormFloat64()))
			list = append(list, DropReading{At: day(float64(i)), Drop: units.Pressure(1600 * float64(q) * (1 + 0.05*r.NormFloat64())), Flow: &q})
		}
		if FilterLoading(list, nil, 900).Answer == Rising {
			rising++
		}
	}
	require.InDelta(t, 0.025, float64(rising)/filters, 0.012)
}

// Sessions of two setups, three to a measurement, dust that goes with flow by a known
// slope and varies between days: the interval holds the truth in 95 % of studies.
// Days vary as in wood shops, sd 0.5 of ln. 2000 studies, seed 12; standard error 0.5 %.
func TestTheIntervalOfDustOnFlowHoldsTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 12))
	const studies, truth = 2000, -10.0 // percent for each 100 cfm
	held, claimed := 0, 0
	for range studies {
		for _, slope := range []float64{truth, 0} {
			var sessions []Session
			for i := range 10 {
				setup, factor := fmt.Sprint(i/5), math.Pow(0.3, float64(i/5))
				q := units.CFM(600 + 150*float64(i/5) + 120*r.NormFloat64())
				today := 0.5 * r.NormFloat64()
				for range 3 {
					dust := 200 * factor * math.Pow(1+slope/100, q.CFM()/100) * math.Exp(today+0.1*r.NormFloat64())
					sessions = append(sessions, Session{Start: day(float64(i)), Measured: day(float64(i)), Setup: setup, Flow: q, Dust: dust})
				}
			}
			got := RegressDust(sessions)
			switch {
			case slope == truth && *got.Low <= truth && truth <= *got.High:
				held++
			case slope == 0 && (got.Answer == LessDust || got.Answer == MoreDust):
				claimed++
			}
		}
	}
	require.InDelta(t, 0.95, float64(held)/studies, 0.02)
	require.InDelta(t, 0.05, float64(claimed)/studies, 0.02)
}
