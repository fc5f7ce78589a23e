package clearance

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/units"
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

// check compares every expected value of a case.
func (c statCase) check(t *testing.T, got map[string]float64) {
	t.Helper()
	want := map[string]float64{}
	for key := range c.Expected {
		want[key] = read[float64](t, c.Expected, key)
	}
	validation.CheckSet(t, c.Name, c.Source, want, got, c.Tolerance.Rel, c.Tolerance.Abs)
}

// certified is one of the NIST models with both starts that NIST gives.
type certified struct {
	curve  curve
	starts [][]float64
}

func riseToPlateau(p []float64, x float64, slope []float64) float64 {
	e := math.Exp(-p[1] * x)
	slope[0], slope[1] = 1-e, p[0]*x*e
	return p[0] * (1 - e)
}

func ultrasonic(p []float64, x float64, slope []float64) float64 {
	below := p[1] + p[2]*x
	f := math.Exp(-p[0]*x) / below
	slope[0], slope[1], slope[2] = -x*f, -f/below, -x*f/below
	return f
}

var nistModels = map[string]certified{
	"misra1a":  {riseToPlateau, [][]float64{{500, 1e-4}, {250, 5e-4}}},
	"boxbod":   {riseToPlateau, [][]float64{{1, 1}, {100, 0.75}}},
	"chwirut2": {ultrasonic, [][]float64{{0.1, 0.01, 0.02}, {0.15, 0.008, 0.01}}},
}

func TestPublishedLeastSquares(t *testing.T) {
	for _, c := range statCases(t, "nls_exp") {
		t.Run(c.ID, func(t *testing.T) {
			model, ok := nistModels[c.ID]
			require.True(t, ok)
			d := points{x: read[[]float64](t, c.Inputs, "x"), y: read[[]float64](t, c.Inputs, "y")}
			b, se, rss := read[[]float64](t, c.Expected, "b"), read[[]float64](t, c.Expected, "se"), read[float64](t, c.Expected, "rss")
			for _, start := range model.starts {
				s, err := leastSquares(model.curve, d, start, start)
				require.NoError(t, err)
				want, got := map[string]float64{"rss": rss}, map[string]float64{"rss": s.rss}
				variance := s.rss / float64(len(d.x)-len(b))
				for j := range b {
					name := string(rune('1' + j))
					want["b"+name], got["b"+name] = b[j], s.p[j]
					want["se"+name], got["se"+name] = se[j], math.Sqrt(variance*s.inverse.At(j, j))
				}
				validation.CheckSet(t, fmt.Sprintf("%s, from %v", c.Name, start), c.Source, want, got, c.Tolerance.Rel, 0)
			}
		})
	}
}

func TestPublishedDecayFit(t *testing.T) {
	for _, c := range statCases(t, "decay_fit") {
		// The case is in minutes; the package in hours.
		minutes, level := read[[]float64](t, c.Inputs, "t"), read[[]float64](t, c.Inputs, "c")
		hours := make([]float64, len(minutes))
		for i := range minutes {
			hours[i] = minutes[i] / 60
		}
		f, err := FitDecay(hours, level, Options{Weights: Equal, NotRobust: true})
		require.NoError(t, err)
		to, err := f.MinutesTo(read[float64](t, c.Inputs, "limit"))
		require.NoError(t, err)
		// Its limits take residuals for independent: λ ± t(0.975, n − 3)·SE.
		half := tQuantile(0.975, float64(f.N-3)) * f.SE
		c.check(t, map[string]float64{
			"cbg": f.Background, "c0": f.C0, "lam": f.PerHour / 60, "se_lam": f.SE / 60,
			"lam_lo": (f.PerHour - half) / 60, "lam_hi": (f.PerHour + half) / 60, "minutes_to_limit": to.Minutes,
		})
	}
}

func TestPublishedEmission(t *testing.T) {
	for _, c := range statCases(t, "box_emission") {
		step, level := read[float64](t, c.Inputs, "dt"), read[[]float64](t, c.Inputs, "c")
		var hours []float64
		for i := range level {
			hours = append(hours, float64(i)*step/60)
		}
		mass, err := Emission(hours, level, read[float64](t, c.Inputs, "volume"), 60*read[float64](t, c.Inputs, "lam"), read[float64](t, c.Inputs, "cbg"))
		require.NoError(t, err)
		c.check(t, map[string]float64{"mass": mass, "rate": mass / (step * float64(len(level)-1))})
	}
}

func TestPublishedAirChangeTable(t *testing.T) {
	rates := []float64{2, 4, 6, 8, 10, 12, 15, 20, 50}
	const source = "CDC, Guidelines for Environmental Infection Control in Health-Care Facilities 2003, table B.1 (= MMWR 1994; 43(RR-13), table S3-1)"
	for _, row := range []struct {
		method  string
		share   float64
		minutes []float64
	}{
		{"minutes for 99 % removal at 2 to 50 air changes per hour", 0.99, []float64{138, 69, 46, 35, 28, 23, 18, 14, 6}},
		{"minutes for 99.9 % removal at 2 to 50 air changes per hour", 0.999, []float64{207, 104, 69, 52, 41, 35, 28, 21, 8}},
	} {
		var got []float64
		for _, rate := range rates {
			got = append(got, math.Round(RemovalMinutes(row.share, rate)))
		}
		validation.CheckAll(t, row.method, source, row.minutes, got, 0)
	}
}

func TestPublishedCleanAir(t *testing.T) {
	const box = "Dal Porto et al. 2022, Aerosol Sci. Technol. 56:564 (abstract: 600 to 850 ft³/min are 1019 to 1444 m³/h)"
	validation.CheckAll(t, "cubic feet per minute from m³/h", box, []float64{600, 850}, []float64{units.M3H(1019).CFM(), units.M3H(1444).CFM()}, 0.3)

	// Worked by hand: 120 m³ · (4.275 − 0.6)/h = 441 m³/h.
	d, err := CADR(120, []float64{4.275}, []float64{0.6})
	require.NoError(t, err)
	require.InDelta(t, 441, d.M3PerHour, 1e-9)
	require.True(t, math.IsNaN(d.Low), "one decay each: no interval")
}
