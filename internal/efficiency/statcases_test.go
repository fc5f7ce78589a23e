package efficiency

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

// statCase is one reference case; testdata/README.md says where they come from.
type statCase struct {
	ID, Method, Name, Source string
	Inputs, Expected         map[string]json.RawMessage
	Tolerance                struct{ Rel, Abs float64 }
}

func statCases(t *testing.T, method string) (cases []statCase) {
	t.Helper()
	raw, err := os.ReadFile("testdata/statcases.json")
	require.NoError(t, err)
	var file struct{ Cases []statCase }
	require.NoError(t, json.Unmarshal(raw, &file))
	for _, c := range file.Cases {
		if c.Method == method {
			cases = append(cases, c)
		}
	}
	require.NotEmpty(t, cases)
	return cases
}

func read[T any](t *testing.T, from map[string]json.RawMessage, key string) (x T) {
	t.Helper()
	require.Contains(t, from, key)
	require.NoError(t, json.Unmarshal(from[key], &x))
	return x
}

func (c statCase) check(t *testing.T, got map[string]float64) {
	t.Helper()
	want := map[string]float64{}
	for key := range c.Expected {
		want[key] = read[float64](t, c.Expected, key)
	}
	validation.CheckSet(t, c.Name+" ("+c.ID+")", c.Source, want, got, c.Tolerance.Rel, c.Tolerance.Abs)
}

func TestPublishedPoissonRatio(t *testing.T) {
	for _, c := range statCases(t, "poisson_ratio") {
		// Volumes stand where R's poisson.test has times.
		p, err := FromCounts(
			Counted{read[int64](t, c.Inputs, "down"), read[float64](t, c.Inputs, "t_down")},
			Counted{read[int64](t, c.Inputs, "up"), read[float64](t, c.Inputs, "t_up")})
		require.NoError(t, err)
		c.check(t, map[string]float64{
			"ratio": p.P, "lo": p.Low, "hi": p.High, "efficiency": 1 - p.P, "eff_lo": 1 - p.High, "eff_hi": 1 - p.Low,
		})
	}
}

func TestPublishedPoissonUpperLimit(t *testing.T) {
	for _, c := range statCases(t, "poisson_upper") {
		want := read[[]float64](t, c.Expected, "upper")
		var got []float64
		for _, n := range read[[]int64](t, c.Inputs, "counts") {
			got = append(got, UpperCount(n, read[float64](t, c.Inputs, "conf")))
		}
		validation.CheckAll(t, c.Name, c.Source, want, got, c.Tolerance.Rel*want[0])
	}
}

func TestPublishedEfficiencyOverRuns(t *testing.T) {
	for _, c := range statCases(t, "efficiency_runs") {
		down, up := read[[]float64](t, c.Inputs, "down"), read[[]float64](t, c.Inputs, "up")
		var runs []Run
		for i := range down {
			runs = append(runs, Run{down[i], up[i], read[float64](t, c.Inputs, "v_down"), read[float64](t, c.Inputs, "v_up")})
		}
		o, err := Between(runs)
		require.NoError(t, err)
		c.check(t, map[string]float64{"efficiency": 1 - o.Penetration.P, "eff_lo": 1 - o.High, "eff_hi": 1 - o.Low, "Q": o.Q, "tau2": o.Tau2})
	}
}

// The standard reports efficiencies in whole 5 %, rounded down.
func TestRoundingDown(t *testing.T) {
	for share, want := range map[float64]string{
		0.66: "65 %", 0.5: "50 %", 0.4999: "45 %", 0.55: "55 %", 0.849: "80 %", 0.85: "85 %", 0.95: "95 %", 0.9501: "> 95 %", 0.9999: "> 95 %", 0.03: "0 %", -0.2: "0 %",
	} {
		require.Equal(t, want, RoundedDown(share), "%g", share) // rule read in makers' summaries of ISO 16890-1:2016; "> 95 %" from memory
	}
}

// A series of stages: 90 % and then 99.9 % let 0.0001 through, by arithmetic.
func TestStagesInSeriesMultiply(t *testing.T) {
	first, err := FromCounts(Counted{1000, 1}, Counted{10_000, 1})
	require.NoError(t, err)
	second, err := FromCounts(Counted{1, 1}, Counted{1000, 1})
	require.NoError(t, err)
	require.InEpsilon(t, 0.0001, first.P*second.P, 1e-12)
}
