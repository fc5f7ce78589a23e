package clearance

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

// air simulates 20 s means of a decay: scatter in proportion to the level plus a
// floor, first-order autocorrelation phi.
type air struct {
	c0, background, perHour float64
	relative, floor, phi    float64
	puffs                   int
}

func (a air) means(r *rand.Rand, n int) (hours, c []float64) {
	noise := 0.0
	for i := -50; i < n; i++ {
		noise = a.phi*noise + math.Sqrt(1-a.phi*a.phi)*r.NormFloat64()
		if i < 0 {
			continue
		}
		t := float64(i) * 20 / 3600
		level := a.background + (a.c0-a.background)*math.Exp(-a.perHour*t)
		hours = append(hours, t)
		c = append(c, level+math.Hypot(level*a.relative, a.floor)*noise)
	}
	for range a.puffs {
		c[r.IntN(n)] *= 3
	}
	return hours, c
}

func TestAnExactDecayIsRecovered(t *testing.T) {
	hours, c := air{c0: 480, background: 12, perHour: 4.5}.means(rand.New(rand.NewPCG(1, 1)), 120)
	for _, o := range []Options{{}, {Weights: Equal}, {NotRobust: true}, {Weights: Equal, NotRobust: true}, {Fixed: &Background{Level: 12}}} {
		f, err := FitDecay(hours, c, o)
		require.NoError(t, err)
		require.InEpsilon(t, 4.5, f.PerHour, 1e-6)
		require.InEpsilon(t, 480, f.C0, 1e-6)
		require.InEpsilon(t, 12, f.Background, 1e-6)
		require.InEpsilon(t, 60*math.Ln2/4.5, f.HalfLifeMinutes(), 1e-6)
		to, err := f.MinutesTo(246) // half of the excess
		require.NoError(t, err)
		require.InEpsilon(t, f.HalfLifeMinutes(), to.Minutes, 1e-6)
	}
}

var update = flag.Bool("update", false, "simulate at length and rewrite testdata/simulations.json")

// The truth lies in the 95 % interval in about 95 % of simulated decays, with
// scatter that hangs together and with puffs.
func TestTheIntervalHoldsTheTruth(t *testing.T) {
	const seed = 95
	decays := 150
	if *update {
		decays = 4000
	}
	var rows []validation.Simulation
	for _, test := range []struct {
		setting string
		air     air
		n       int
		o       Options
		low     float64 // of the share that holds the truth, at length
	}{
		{"30 min, scatter 5 %, independent", air{500, 10, 6, 0.05, 1, 0, 0}, 90, Options{}, 0.94},
		{"30 min, scatter 5 %, neighbours correlated 0.5", air{500, 10, 6, 0.05, 1, 0.5, 0}, 90, Options{}, 0.92},
		{"30 min, scatter 20 %, neighbours correlated 0.5", air{500, 10, 6, 0.2, 1, 0.5, 0}, 90, Options{}, 0.90},
		{"30 min, scatter 5 %, 4 puffs of three times the level", air{500, 10, 6, 0.05, 1, 0.3, 4}, 90, Options{}, 0.90},
		{"30 min, scatter 10 µg/m³, equal weights", air{500, 10, 6, 0, 10, 0.5, 0}, 90, Options{Weights: Equal}, 0.92},
		{"15 min, background from elsewhere 1 u too low", air{500, 10, 6, 0.05, 1, 0.3, 0}, 45, Options{Fixed: &Background{Level: 8, U: 2}}, 0.92},
		{"15 min at 2/h, background from elsewhere", air{500, 10, 2, 0.05, 1, 0.3, 0}, 45, Options{Fixed: &Background{Level: 10, U: 2}}, 0.92},
	} {
		r := rand.New(rand.NewPCG(7, seed))
		held := 0
		for range decays {
			hours, c := test.air.means(r, test.n)
			f, err := FitDecay(hours, c, test.o)
			require.NoError(t, err)
			if f.Low <= test.air.perHour && test.air.perHour <= f.High {
				held++
			}
		}
		found := float64(held) / float64(decays)
		se := math.Sqrt(0.95 * 0.05 / float64(decays))
		require.GreaterOrEqual(t, found, test.low-3*se, test.setting)
		rows = append(rows, validation.Simulation{
			What: "interval of a clearance rate holds the truth", Setting: test.setting, Studies: decays, Seed: seed, Intended: "95 %", Found: found, SE: se,
		})
	}
	if *update {
		require.NoError(t, validation.SaveSimulations(validation.SimulationFile, rows))
	}
	saved, err := validation.LoadSimulations(validation.SimulationFile)
	require.NoError(t, err)
	require.Len(t, saved, len(rows))
	for i, row := range rows {
		require.Equal(t, row.Setting, saved[i].Setting)
		require.InDelta(t, saved[i].Found, row.Found, 4*row.SE, "run with -update, and make docs")
	}
}

func TestTheTimeToALevelHoldsTheTruth(t *testing.T) {
	const decays = 150
	a := air{500, 10, 6, 0.05, 1, 0.3, 0}
	truth := 60 * math.Log(490.0/40) / 6 // to 50 µg/m³
	r := rand.New(rand.NewPCG(8, 95))
	held := 0
	for range decays {
		f, err := halfHour(a, r)
		require.NoError(t, err)
		to, err := f.MinutesTo(50)
		require.NoError(t, err)
		if to.Low <= truth && truth <= to.High {
			held++
		}
	}
	require.InDelta(t, 0.95, float64(held)/decays, 0.054) // three standard errors
}

// halfHour fits one simulated record of half an hour.
func halfHour(a air, r *rand.Rand) (Fit, error) {
	hours, c := a.means(r, 90)
	return FitDecay(hours, c, Options{})
}

func TestLawsOfTheFit(t *testing.T) {
	hours, c := air{500, 20, 5, 0.05, 1, 0.3, 2}.means(rand.New(rand.NewPCG(3, 3)), 100)
	f, err := FitDecay(hours, c, Options{})
	require.NoError(t, err)

	scaled, later := make([]float64, len(c)), make([]float64, len(c))
	for i := range c {
		scaled[i], later[i] = 7*c[i], hours[i]+1000
	}
	s, err := FitDecay(hours, scaled, Options{})
	require.NoError(t, err)
	require.InEpsilon(t, f.PerHour, s.PerHour, 1e-6, "a sensor's gain cancels in the rate")
	require.InEpsilon(t, f.Low, s.Low, 1e-5)
	require.InEpsilon(t, 7*f.C0, s.C0, 1e-6)

	l, err := FitDecay(later, c, Options{})
	require.NoError(t, err)
	require.InEpsilon(t, f.PerHour, l.PerHour, 1e-6, "the hour of the day does not matter")

	require.Less(t, f.Low, f.LowOne, "one-sided is closer")
	require.LessOrEqual(t, f.NEff, float64(f.N))
}

func TestPuffsAreWeighedDown(t *testing.T) {
	a := air{500, 10, 6, 0.03, 1, 0, 0}
	hours, c := a.means(rand.New(rand.NewPCG(5, 5)), 90)
	for _, i := range []int{50, 60, 70, 80} {
		c[i] *= 4
	}
	robust, err := FitDecay(hours, c, Options{})
	require.NoError(t, err)
	plain, err := FitDecay(hours, c, Options{NotRobust: true})
	require.NoError(t, err)
	require.Greater(t, math.Abs(plain.PerHour-6), 3*math.Abs(robust.PerHour-6))
	require.GreaterOrEqual(t, robust.WeighedDown, 4)
}

func TestEffectiveNumber(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, phi := range []float64{0, 0.5, 0.8} {
		var sum float64
		const series, n = 200, 200
		for range series {
			x, noise := make([]float64, n), 0.0
			for i := -50; i < n; i++ {
				noise = phi*noise + r.NormFloat64()
				if i >= 0 {
					x[i] = noise
				}
			}
			sum += effective(x) / series
		}
		// n·(1 − φ)/(1 + φ), known by construction.
		require.InEpsilon(t, n*(1-phi)/(1+phi), sum, 0.15, "phi %g", phi)
	}
	require.InDelta(t, 3.0, effective([]float64{0, 0, 0}), 0, "nothing to hang together")
}

func TestNastyDecays(t *testing.T) {
	up := func(f func(i int) float64) (hours, c []float64) {
		for i := range 60 {
			hours, c = append(hours, float64(i)/180), append(c, f(i))
		}
		return hours, c
	}
	for name, test := range map[string]struct {
		f    func(i int) float64
		want error
	}{
		"rising":       {func(i int) float64 { return 10 + float64(i) }, ErrNoFall},
		"constant":     {func(int) float64 { return 42 }, ErrNoFall},
		"all zero":     {func(int) float64 { return 0 }, ErrNoFall},
		"rises to top": {func(i int) float64 { return 100 - 90*math.Exp(-float64(i)/10) }, ErrNoFall},
		"no number":    {func(i int) float64 { return []float64{1, math.NaN()}[i%2] }, ErrBadInput},
		"infinite":     {func(i int) float64 { return []float64{1, math.Inf(1)}[i%2] }, ErrBadInput},
	} {
		t.Run(name, func(t *testing.T) {
			hours, c := up(test.f)
			_, err := FitDecay(hours, c, Options{})
			require.ErrorIs(t, err, test.want)
			_, why, err := Judge(hours, c, nil, Options{})
			require.True(t, err != nil || !why.IsZero(), "no rate without a reason")
		})
	}
	hours, c := up(func(i int) float64 { return 1e9 * math.Exp(-float64(i)/10) })
	f, err := FitDecay(hours, c, Options{})
	require.NoError(t, err, "huge")
	require.InEpsilon(t, 18, f.PerHour, 1e-4)
	hours, c = up(func(i int) float64 { return 1e-9 * math.Exp(-float64(i)/10) })
	f, err = FitDecay(hours, c, Options{})
	require.NoError(t, err, "tiny")
	require.InEpsilon(t, 18, f.PerHour, 1e-4)

	_, err = FitDecay([]float64{0, 1}, []float64{2, 1}, Options{})
	require.ErrorIs(t, err, ErrTooFew)
	_, err = FitDecay([]float64{0}, []float64{2, 1}, Options{})
	require.ErrorIs(t, err, ErrBadInput)
	hours[5] = hours[4]
	_, err = FitDecay(hours, c, Options{})
	require.ErrorIs(t, err, ErrBadInput)
}
