package group

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"dustlog/internal/validation"
)

// statCase is one reference case; testdata/README.md says where they come from.
type statCase struct {
	ID, Method, Name, Source string
	Inputs, Expected         map[string]json.RawMessage
	Tolerance                struct{ Rel, Abs float64 }
}

func (c statCase) in(t *testing.T, key string, into any) {
	t.Helper()
	require.Contains(t, c.Inputs, key)
	require.NoError(t, json.Unmarshal(c.Inputs[key], into))
}

func (c statCase) floats(t *testing.T, key string) (x []float64) {
	t.Helper()
	c.in(t, key, &x)
	return x
}

func (c statCase) float(t *testing.T, key string) (x float64) {
	t.Helper()
	c.in(t, key, &x)
	return x
}

// fit is the lognormal fit of x.
func (c statCase) fit(t *testing.T) Lognormal {
	t.Helper()
	d, err := FitLognormal(c.floats(t, "x"))
	require.NoError(t, err)
	return d
}

// values are x with their detected marks.
func (c statCase) values(t *testing.T) (values []Value) {
	t.Helper()
	detected := c.floats(t, "detected")
	for i, x := range c.floats(t, "x") {
		values = append(values, Value{MgM3: x, Below: detected[i] == 0})
	}
	return values
}

// within is the case's tolerance for a list: the wider of both, for the lowest value.
func (c statCase) within(published []float64) float64 {
	return max(c.Tolerance.Abs, c.Tolerance.Rel*slices.Min(published))
}

// statMethods gives a number or a list of numbers for every expected key.
var statMethods = map[string]func(*testing.T, statCase) map[string]any{
	"k_factor": factors, "en689_ut": factors,
	"land_h": func(t *testing.T, c statCase) map[string]any {
		var h []float64
		for i, s := range c.floats(t, "s") {
			x, err := LandH(int(c.floats(t, "n")[i]), s, c.float(t, "conf"))
			require.NoError(t, err)
			h = append(h, x)
		}
		return map[string]any{"h": h}
	},
	"land_ucl": func(t *testing.T, c statCase) map[string]any {
		d := c.fit(t)
		low, high, err := d.LandMean(c.float(t, "conf"))
		require.NoError(t, err)
		return map[string]any{"lcl": low, "ucl": high, "mean_simple": math.Exp(d.Mean + d.SD*d.SD/2)}
	},
	"exposure_summary": func(t *testing.T, c statCase) map[string]any {
		d := c.fit(t)
		utl95, err := d.UpperTolerance(0.95, 0.95)
		require.NoError(t, err)
		utl70, err := d.UpperTolerance(0.95, 0.70)
		require.NoError(t, err)
		share, low, high, err := d.Exceedance(c.float(t, "limit"), 0.95)
		require.NoError(t, err)
		mvue, err := d.MeanMVUE()
		require.NoError(t, err)
		return map[string]any{"gm": d.GM(), "gsd": d.GSD(), "x95": d.Percentile(0.95), "utl95_95": utl95, "utl95_70": utl70,
			"exceed": share, "exceed_lo": low, "exceed_hi": high, "mean_mvue": mvue, "mean_simple": math.Exp(d.Mean + d.SD*d.SD/2)}
	},
	"censored_mle": func(t *testing.T, c statCase) map[string]any {
		m, err := FitMLE(c.values(t))
		require.NoError(t, err)
		d := Lognormal{Mean: m.Mu, SD: m.Sigma}
		return map[string]any{"mu": m.Mu, "sigma": m.Sigma, "gm": d.GM(), "gsd": d.GSD(), "loglik": m.LogLik, "x95": d.Percentile(0.95)}
	},
	"ros": func(t *testing.T, c statCase) map[string]any {
		r, err := FitROS(c.values(t))
		require.NoError(t, err)
		mean, sd := r.Mean()
		return map[string]any{"intercept": r.Intercept, "slope": r.Slope, "mean": mean, "sd": sd, "gm": r.Lognormal().GM()}
	},
	"km_left": func(t *testing.T, c statCase) map[string]any {
		km := NewKaplanMeier(c.values(t))
		median, ok := km.Percentile(0.5)
		require.True(t, ok)
		return map[string]any{"mean": km.Mean(), "mass_below_smallest_detect": km.MassBelow(), "median": median}
	},
	"bayes_lognormal": func(t *testing.T, c statCase) map[string]any {
		prior := Prior{M0: c.float(t, "m0"), K0: c.float(t, "k0"), A0: c.float(t, "a0"), B0: c.float(t, "b0")}
		q, err := prior.Update(c.fit(t))
		require.NoError(t, err)
		return map[string]any{"m_n": q.M, "k_n": q.K, "a_n": q.A, "b_n": q.B,
			"p_x95_below_limit": q.ChanceBelow(c.float(t, "limit"), 0.95), "x95_upper95": q.PercentileLimit(0.95, 0.95)}
	},
	"univariate": func(t *testing.T, c statCase) map[string]any {
		x := numAcc4
		if c.ID != "nist_numacc4" {
			x = c.floats(t, "x")
		}
		mean, sd := stat.MeanStdDev(x, nil)
		return map[string]any{"mean": mean, "sd": sd, "autocorr1": lag1(x)}
	},
}

// numAcc4 is 10000000.2 and then 500 times 10000000.1, 10000000.3.
var numAcc4 = func() []float64 {
	x := []float64{10000000.2}
	for range 500 {
		x = append(x, 10000000.1, 10000000.3)
	}
	return x
}()

func factors(t *testing.T, c statCase) map[string]any {
	var k []float64
	for _, n := range c.floats(t, "n") {
		x, err := ToleranceFactor(int(n), c.float(t, "p"), c.float(t, "conf"))
		require.NoError(t, err)
		k = append(k, x)
	}
	return map[string]any{"k": k}
}

func TestPublishedReferenceCases(t *testing.T) {
	raw, err := os.ReadFile("testdata/statcases.json")
	require.NoError(t, err)
	var file struct{ Cases []statCase }
	require.NoError(t, json.Unmarshal(raw, &file))
	seen := map[string]bool{}
	for _, c := range file.Cases {
		seen[c.Method] = true
		t.Run(c.ID, func(t *testing.T) {
			require.Contains(t, statMethods, c.Method)
			got := statMethods[c.Method](t, c)
			require.NotEmpty(t, c.Expected)
			want, have := map[string]float64{}, map[string]float64{}
			for key, raw := range c.Expected {
				require.Contains(t, got, key)
				if list, ok := got[key].([]float64); ok {
					var published []float64
					require.NoError(t, json.Unmarshal(raw, &published))
					validation.CheckAll(t, c.Name, c.Source, published, list, c.within(published))
					continue
				}
				var published float64
				require.NoError(t, json.Unmarshal(raw, &published))
				want[key], have[key] = published, got[key].(float64)
			}
			if len(want) > 0 {
				validation.CheckSet(t, c.Name, c.Source, want, have, c.Tolerance.Rel, c.Tolerance.Abs)
			}
		})
	}
	for method := range statMethods {
		require.True(t, seen[method], "no case of %s", method)
	}
}
