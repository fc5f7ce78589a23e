package compare

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/compare/alternatives"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Reference cases of what is shown beside the default method.
func init() {
	for method, f := range alternativeMethods {
		statMethods[method] = f
	}
}

const caseDraws = 40_000 // the cases ask for at least 20 000

var alternativeMethods = map[string]func(*testing.T, statCase) map[string]any{
	"task_adjusted_runs": func(t *testing.T, c statCase) map[string]any {
		var task, setup []string
		c.in(t, "task", &task)
		c.in(t, "setup", &setup)
		var runs []alternatives.Run
		for i, x := range c.floats(t, "conc") {
			runs = append(runs, alternatives.Run{Ln: math.Log(x), Task: task[i], New: setup[i] == "B"})
		}
		r, err := alternatives.RunsAsUnits(runs, 0.95)
		require.NoError(t, err)
		return map[string]any{"ratio": r.Ratio, "lo": r.Low, "hi": r.High, "df": r.DF, "p": r.P}
	},
	"perm_blocks": func(t *testing.T, c statCase) map[string]any {
		var a, b [][]float64
		c.in(t, "a", &a)
		c.in(t, "b", &b)
		p, err := alternatives.PermutationBlocks(a, b)
		require.NoError(t, err)
		require.False(t, p.Sampled)
		return map[string]any{"stat": p.Statistic, "p_two": p.P, "p_less": p.PLess, "arrangements": float64(p.Arrangements)}
	},
	"hodges_lehmann_two": func(t *testing.T, c statCase) map[string]any {
		s, err := alternatives.HodgesLehmannTwo(c.floats(t, "a"), c.floats(t, "b"), 0.95)
		require.NoError(t, err)
		return map[string]any{"estimate": s.Estimate, "lo": s.Low, "hi": s.High}
	},
	"hodges_lehmann_one": func(t *testing.T, c statCase) map[string]any {
		s, err := alternatives.HodgesLehmannOne(c.floats(t, "d"), 0.95)
		require.NoError(t, err)
		return map[string]any{"estimate": s.Estimate, "lo": s.Low, "hi": s.High}
	},
	"newey_west": func(t *testing.T, c statCase) map[string]any {
		s, err := alternatives.NeweyWest(c.floats(t, "x"), int(c.float(t, "lag")))
		require.NoError(t, err)
		return map[string]any{"mean": s.Mean, "se_mean": s.SE, "lrv": s.LRV, "n_eff": s.N}
	},
	"politis_white": func(t *testing.T, c statCase) map[string]any {
		b, err := alternatives.PolitisWhite(serialValues(t, c))
		require.NoError(t, err)
		return map[string]any{
			"m_hat": float64(b.LastLag), "M": float64(b.Bandwidth), "g_hat": b.G, "lrv": b.LRV,
			"b_stationary": b.Stationary, "b_circular": b.Circular,
		}
	},
	"bca": func(t *testing.T, c statCase) map[string]any {
		var name string
		c.in(t, "statistic", &name)
		statistic := func(s [][]float64) float64 { m, _ := meanSD(s[0]); return m }
		if name == "variance_n" {
			statistic = func(s [][]float64) float64 {
				_, sd := meanSD(s[0])
				n := float64(len(s[0]))
				return sd * sd * (n - 1) / n
			}
		}
		b, err := alternatives.BCa([][]float64{c.floats(t, "x")}, statistic, caseDraws, c.float(t, "level"))
		require.NoError(t, err)
		return map[string]any{"estimate": b.Estimate, "z0": b.Z0, "acceleration": b.Acceleration, "lo": b.Low, "hi": b.High}
	},
	"bca_ratio": func(t *testing.T, c statCase) map[string]any {
		b, err := alternatives.BCaRatio(c.floats(t, "old"), c.floats(t, "new"), caseDraws, c.float(t, "level"))
		require.NoError(t, err)
		return map[string]any{
			"ratio": b.Estimate, "z0": b.Z0, "acceleration": b.Acceleration, "lo": b.Low, "hi": b.High,
			"pct_lo": b.PercLow, "pct_hi": b.PercHigh,
		}
	},
	"anova": func(t *testing.T, c statCase) map[string]any {
		var groups [][]float64
		c.in(t, "groups", &groups)
		r, err := alternatives.Anova(groups)
		require.NoError(t, err)
		return map[string]any{"ss_between": r.Between, "ss_within": r.Within, "f": r.F, "p": r.P, "icc": r.ICC}
	},
	// The case's window of four samples becomes the 15 minutes that count here.
	"peak_window": func(t *testing.T, c statCase) map[string]any {
		x, k := c.floats(t, "x"), c.float(t, "k")
		require.InDelta(t, 0.75, c.float(t, "min_cover"), 0)
		step := time.Duration(float64(15*time.Minute) / k)
		series := dust.NewSeries(dust.Sensor{}, dust.PM25)
		series.Hold = step
		for i, v := range x {
			if v >= 0 {
				require.NoError(t, series.Append(monday.Add(time.Duration(i)*step), v, 0))
			}
		}
		end := monday.Add(time.Duration(len(x)) * step)
		var spans []dust.Span
		for p := range series.Usable(monday, end) {
			spans = append(spans, p)
		}
		peak, err := exposure.Max15min(spans, monday, end)
		require.NoError(t, err)
		m := measure(series, monday, end, look{})
		return map[string]any{"peak": peak.Mean, "coverage": m.seconds / end.Sub(monday).Seconds(), "mean": m.mean()}
	},
}

// serialValues are the case's values, made by its rule if it gives one (see
// testdata/README.md).
func serialValues(t *testing.T, c statCase) []float64 {
	t.Helper()
	raw, ok := c.Inputs["series"]
	if !ok {
		return c.floats(t, "x")
	}
	var rule struct {
		Seed, N, Burn int
		Phi           float64
	}
	require.NoError(t, json.Unmarshal(raw, &rule))
	seed, y := rule.Seed, 0.0
	var x []float64
	for i := range rule.Burn + rule.N {
		z := -6.0
		for range 12 {
			seed = seed * 16807 % 2147483647
			z += float64(seed) / 2147483647
		}
		if y = rule.Phi*y + z; i >= rule.Burn {
			x = append(x, math.Round(1e6*y)/1e6)
		}
	}
	first := c.floats(t, "first5")
	require.Equal(t, first, x[:len(first)], "the generator is the case's")
	require.InDelta(t, c.float(t, "last"), x[len(x)-1], 0)
	return x
}
