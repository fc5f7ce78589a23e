package efficiency

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

func poisson(r *rand.Rand, mean float64) int64 {
	return int64(distuv.Poisson{Lambda: mean, Src: r}.Rand())
}

// The exact interval holds the truth in at least 95 % of simulated runs.
func TestTheCountingIntervalHoldsTheTruth(t *testing.T) {
	for _, mean := range []struct{ up, truth float64 }{{50, 0.1}, {500, 0.02}, {5000, 0.001}, {300, 0.8}} {
		r := rand.New(rand.NewPCG(1, 95))
		const runs = 2000
		held := 0
		for range runs {
			p, err := FromCounts(Counted{poisson(r, mean.up*mean.truth), 1}, Counted{poisson(r, mean.up), 1})
			require.NoError(t, err)
			if p.Low <= mean.truth && mean.truth <= p.High {
				held++
			}
		}
		require.GreaterOrEqual(t, float64(held)/runs, 0.945, "%+v", mean) // one standard error is 0.5 points
	}
}

// Student's t on ln P of runs holds the truth in about 95 %.
func TestTheIntervalBetweenRunsHoldsTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 95))
	const studies = 2000
	held, shown := 0, 0
	for range studies {
		var runs []Run
		for range 5 {
			p := 0.1 * math.Exp(0.3*r.NormFloat64())
			runs = append(runs, Run{float64(poisson(r, 5000*p)), float64(poisson(r, 5000)), 1, 1})
		}
		o, err := Between(runs)
		require.NoError(t, err)
		if o.Low <= 0.1 && 0.1 <= o.High {
			held++
		}
		if o.P < 0.05 {
			shown++
		}
	}
	require.InDelta(t, 0.95, float64(held)/studies, 0.015)
	require.Greater(t, float64(shown)/studies, 0.9, "a spread of 30 % is beyond counting here")
}

func TestExchangingTakesTheSensorsRatioOut(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 95))
	const studies, truth, gain = 2000, 0.05, 1.3
	held := 0
	var log float64
	for range studies {
		var placed, exchanged []float64
		for range 4 {
			placed = append(placed, math.Log(truth*gain)+0.2*r.NormFloat64())
			exchanged = append(exchanged, math.Log(truth/gain)+0.2*r.NormFloat64())
		}
		o, err := Exchanged(placed, exchanged)
		require.NoError(t, err)
		if o.Low <= truth && truth <= o.High {
			held++
		}
		log += math.Log(o.Gain) / studies
	}
	// Welch's degrees of freedom are a little careful with four runs each.
	require.GreaterOrEqual(t, float64(held)/studies, 0.94)
	require.LessOrEqual(t, float64(held)/studies, 0.975)
	require.InDelta(t, math.Log(gain), log, 0.01)
}

func TestLawsOfCounts(t *testing.T) {
	p, err := FromCounts(Counted{42, 1}, Counted{5210, 1})
	require.NoError(t, err)
	twice, err := FromCounts(Counted{42, 2}, Counted{5210, 2})
	require.NoError(t, err)
	require.Equal(t, p, twice, "the same air on both sides")
	thin, err := FromCounts(Counted{42, 10}, Counted{5210, 1})
	require.NoError(t, err)
	require.InEpsilon(t, p.P/10, thin.P, 1e-12)
	require.InEpsilon(t, p.High/10, thin.High, 1e-9)
	more, err := FromCounts(Counted{4200, 1}, Counted{521_000, 1})
	require.NoError(t, err)
	require.Less(t, more.High-more.Low, p.High-p.Low, "more particles, closer limits")

	// Many particles: the normal approximation in ln P, 1.96·√(1/d + 1/u).
	huge, err := FromCounts(Counted{4_000_000, 1}, Counted{40_000_000, 1})
	require.NoError(t, err)
	require.InEpsilon(t, 0.1*math.Exp(1.959964*math.Sqrt(1/4e6+1/4e7)), huge.High, 1e-6)

	// A zero count taken off lowers P and widens the interval.
	net, err := NetOfZero(Counted{42, 1}, Counted{5210, 1}, 10, 10)
	require.NoError(t, err)
	require.InEpsilon(t, 32.0/5200, net.P, 1e-12)
	require.Less(t, net.Low, net.P)
	require.Greater(t, net.High, net.P)
	plain, err := NetOfZero(Counted{42, 1}, Counted{5210, 1}, 0, 0)
	require.NoError(t, err)
	require.Equal(t, p, plain)

	// The rule of three: nothing behind of 640 before is at most 3.0/640.
	most, err := AtMost(Counted{0, 1}, Counted{640, 1}, 0, 0)
	require.NoError(t, err)
	require.InEpsilon(t, -math.Log(0.05)/640, most, 1e-9)
}

func TestNastyCounts(t *testing.T) {
	for name, c := range map[string][2]Counted{
		"negative": {{-1, 1}, {5, 1}}, "no air": {{1, 0}, {5, 1}}, "no number": {{1, math.NaN()}, {5, 1}}, "endless": {{1, 1}, {5, math.Inf(1)}},
	} {
		_, err := FromCounts(c[0], c[1])
		require.ErrorIs(t, err, ErrBadInput, name)
		_, err = AtMost(c[0], c[1], 0, 0)
		require.ErrorIs(t, err, ErrBadInput, name)
	}
	_, err := FromCounts(Counted{0, 1}, Counted{0, 1})
	require.ErrorIs(t, err, ErrTooFew)
	p, err := FromCounts(Counted{5, 1}, Counted{0, 1})
	require.NoError(t, err)
	require.True(t, math.IsInf(p.High, 1))
	_, err = NetOfZero(Counted{5, 1}, Counted{5, 1}, 0, 6)
	require.ErrorIs(t, err, ErrTooFew, "before the filter no more than in clean air")
	_, err = NetOfZero(Counted{5, 1}, Counted{5, 1}, -1, 0)
	require.ErrorIs(t, err, ErrBadInput)
	_, err = Between([]Run{{1, 2, 1, 1}})
	require.ErrorIs(t, err, ErrTooFew)
	_, err = Between([]Run{{1, 2, 1, 1}, {1, 2, 0, 1}, {1, 2, 1, 1}})
	require.ErrorIs(t, err, ErrBadInput)
	_, err = Exchanged([]float64{1, 2}, []float64{1})
	require.ErrorIs(t, err, ErrTooFew)
	_, err = BetweenRatios([]float64{0, 1, math.Inf(-1)})
	require.ErrorIs(t, err, ErrBadInput)
}

func TestPercentNeverSaysAHundred(t *testing.T) {
	for value, want := range map[float64]string{
		99.99957: "99.99957", 99.5: "99.50", 90: "90", 82.96: "83", 99.996: "99.9960", 100: "above 99.999", -20: "-20", 0: "0",
	} {
		require.Equal(t, want, PercentText(value))
	}
	r := rand.New(rand.NewPCG(4, 4))
	for range 10_000 {
		require.NotRegexp(t, `^100`, PercentText(100-100*math.Pow(10, -12*r.Float64())))
	}
}

// ISO 16890 weighs bin efficiencies: its own twelve bins by the density at their
// geometric mean, as the standard writes it, against the volume in the bin.
func TestTheStandardsWeights(t *testing.T) {
	edges := []float64{0.3, 0.4, 0.55, 0.7, 1, 1.3, 1.6, 2.2, 3, 4, 5.5, 7, 10} // ISO 16890-2:2016, from memory
	var bins []BinEfficiency
	for i, low := range edges[:len(edges)-1] {
		b := Bin{low, edges[i+1]}
		bins = append(bins, BinEfficiency{b, 1 - math.Exp(-math.Sqrt(b.Low*b.High))})
	}
	for _, f := range fractions {
		share, ok := f.ePM(bins)
		require.True(t, ok, f.name)
		require.InDelta(t, midpoint(f, bins), share, 0.01, f.name)

		even := make([]BinEfficiency, len(bins))
		for i, b := range bins {
			even[i] = BinEfficiency{b.Bin, 0.73}
		}
		share, ok = f.ePM(even)
		require.True(t, ok)
		require.InDelta(t, 0.73, share, 1e-12, "the same for all sizes")
	}
	_, ok := fractions[1].ePM(bins[:4])
	require.False(t, ok, "bins end at 1 µm")
	_, ok = fractions[0].ePM(append(bins[:1:1], bins[2:]...))
	require.False(t, ok, "a gap")
	_, ok = fractions[0].ePM(nil)
	require.False(t, ok)
	// Half of the urban dust's fine mode lies below its median of 0.3 µm.
	require.InDelta(t, 0.45*0.5+0.55*distuv.UnitNormal.CDF(math.Log(0.03)/math.Log(3.1)), urban.volume(Bin{1e-9, 0.3}), 1e-9)
}

// midpoint is the standard's own sum, E·q(d)·Δln d.
func midpoint(f fraction, bins []BinEfficiency) float64 {
	var share, sum float64
	for _, b := range bins {
		if b.Low >= f.um {
			break
		}
		high := min(b.High, f.um)
		var q float64
		for _, m := range f.dust.modes {
			s := math.Log(m.gsd)
			z := (math.Log(math.Sqrt(b.Low*high)) - math.Log(m.median)) / s
			q += m.share * math.Exp(-z*z/2) / (s * math.Sqrt(2*math.Pi))
		}
		q *= math.Log(high / b.Low)
		share, sum = share+b.E*q, sum+q
	}
	return share / sum
}

func TestFlows(t *testing.T) {
	for text, want := range map[string]float64{"6 L/min": 100, "60mL/min": 1, "5 cm3/s": 5} {
		got, err := ParseSampleFlow(text)
		require.NoError(t, err, text)
		require.InEpsilon(t, want, got, 1e-12, text)
	}
	for text, want := range map[string]float64{"800 m3/h": 800, "600 cfm": 1019, "850 ft3/min": 1444} {
		got, err := ParseDuctFlow(text)
		require.NoError(t, err, text)
		require.InEpsilon(t, want, got, 5e-4, text) // Dal Porto et al. 2022: 600 to 850 ft³/min are 1019 to 1444 m³/h
	}
	for _, bad := range []string{"", "800", "m3/h", "-3 m3/h", "Inf m3/h", "3 L/min"} {
		_, err := ParseDuctFlow(bad)
		require.Error(t, err, bad)
	}
}
