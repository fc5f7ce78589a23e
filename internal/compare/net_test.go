package compare

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

// room is an invented mixed room whose truth is known: a source of task dust, a
// clearance rate, outdoor air coming in. The sensor reads what is there.
type room struct {
	lambda  float64 // per hour
	indoors float64 // a of the background, µg/m³
	share   float64 // b: share of outdoor dust that is found indoors
	noise   float64 // relative, of the sensor
	spread  float64 // of days, in ln units; 0: both days of a pair see the same work
}

// days has the setups on alternate days, three tasks a day with idle time between.
// A task adds so many µg/m³ per hour, times effect under the new setup.
func (r room) days(t *testing.T, rng *rand.Rand, n int, effect float64, outdoors bool) *shop {
	t.Helper()
	const step = 5 * time.Second
	s := newShop(t)
	yard := dust.NewSeries(dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
	level := 1.0
	for d := range n {
		day := monday.AddDate(0, 0, d)
		k, name := 1.0, s.in.Before
		if d%2 == 1 {
			k, name = effect, s.in.After
		}
		s.setup(name, day)
		switch {
		case r.spread > 0:
			level = math.Exp(r.spread * rng.NormFloat64())
		case d%2 == 0:
			level = math.Exp(0.3 * rng.NormFloat64())
		}
		outdoor := 8 + 12*rng.Float64()
		drift := ar1(rng, math.Exp(-step.Hours()*2), 0.25)
		work := map[string][2]time.Duration{
			"sawing": {30 * time.Minute, 20 * time.Minute}, "sanding": {62 * time.Minute, 25 * time.Minute}, "planing": {190 * time.Minute, 30 * time.Minute},
		}
		strength := map[string]float64{}
		for i, task := range []string{"sawing", "sanding", "planing"} {
			start := day.Add(work[task][0])
			s.in.Tasks = append(s.in.Tasks, dust.Task{ID: int64(3*d + i), Name: task, Start: start, Stop: start.Add(work[task][1])})
			strength[task] = []float64{900, 2400, 1500}[i] * level
		}
		dust := 0.0 // of the work, above background
		for at := day; at.Before(day.Add(5 * time.Hour)); at = at.Add(step) {
			source := 0.0
			for task, w := range work {
				if !at.Before(day.Add(w[0])) && at.Before(day.Add(w[0]+w[1])) {
					source = strength[task] * k
				}
			}
			h := step.Hours()
			dust = dust*math.Exp(-r.lambda*h) + source*(1-math.Exp(-r.lambda*h))/r.lambda
			out := outdoor * math.Exp(drift())
			read := func(x float64) float64 { return x * (1 + r.noise*rng.NormFloat64()) }
			require.NoError(t, s.in.Series[0].Append(at, math.Max(0, read(dust+r.indoors+r.share*out)), 0))
			require.NoError(t, yard.Append(at, math.Max(0, read(out)), 0))
		}
	}
	if outdoors {
		s.in.Background = yard
	}
	return s
}

// With the tail counted and the left-over dust taken out, the net ratio is the
// ratio of the sources, which is known here. Both days of a pair see the same
// work, so nothing but the method can err.
func TestNetRatioIsTheRatioOfTheSources(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	r := room{lambda: 4, indoors: 3, share: 0.7, noise: 0.02}
	const studies, truth = 6, 0.5
	var raw, constant, line []float64
	for range studies {
		s := r.days(t, rng, 12, truth, true)
		res := s.compare()
		require.Equal(t, NetBasis, res.Primary)
		require.Equal(t, *res.Ratio, *res.Net.Ratio)
		require.Equal(t, "line on the background sensor", res.Background.Kind.String())
		require.InDelta(t, r.share, *res.Background.Slope, 0.1)
		require.InEpsilon(t, r.lambda, *res.Background.ClearanceOld, 0.05)
		require.InEpsilon(t, r.lambda, *res.Background.ClearanceNew, 0.05)
		raw, line = append(raw, math.Log(*res.Raw.Ratio)), append(line, math.Log(*res.Ratio))
		s.in.Background = nil
		c := s.compare()
		require.Equal(t, "constant", c.Background.Kind.String())
		constant = append(constant, math.Log(*c.Ratio))
	}
	ratio := func(x []float64) float64 { m, _ := meanSD(x); return math.Exp(m) }
	t.Logf("truth %g: raw %.3f, net by a constant %.3f, by a line %.3f", truth, ratio(raw), ratio(constant), ratio(line))
	require.InEpsilon(t, truth, ratio(line), 0.015)
	require.InEpsilon(t, truth, ratio(constant), 0.015)
	require.Greater(t, ratio(raw), 1.05*truth, "background and left-over dust pull it towards 1")
}

// Two runs from one room: the second starts in the dust of the first. The numbers
// are those of the mixed room itself.
func TestNetMeanTakesOutWhatTheRunBeforeLeft(t *testing.T) {
	const lambda, source = 6.0, 3000.0 // per hour, µg/m³ per hour
	level := func(h float64) float64 { // run 0–0.5 h, idle to 0.75 h, the same run again to 1.25 h
		up := func(from, to, h float64) float64 {
			if h <= from {
				return 0
			}
			grown := source / lambda * (1 - math.Exp(-lambda*(math.Min(h, to)-from)))
			return grown * math.Exp(-lambda*math.Max(0, h-to))
		}
		return up(0, 0.5, h) + up(0.75, 1.25, h)
	}
	s := newShop(t)
	s.setup("old hood", monday)
	s.setup("new hood", monday.AddDate(0, 0, 1))
	at := func(h float64) time.Time { return monday.Add(time.Duration(h * float64(time.Hour))) }
	for i, h := range []float64{0, 0.75} {
		s.in.Tasks = append(s.in.Tasks, dust.Task{ID: int64(i), Name: "sanding", Start: at(h), Stop: at(h + 0.5)})
	}
	s.readings(monday, at(1.5), func(i int) float64 { return level((float64(i) + 0.5) / 3600) })
	st := newStudy(s.in.withDefaults())
	q := st.channel(dust.PM25)
	g := &ground{kind: constantGround, clearance: [sides]rate{{PerHour: lambda}, {PerHour: lambda}}}
	st.grounds[q.metric] = g
	nets, _ := st.netMeans(q, rules{})
	// Dose of one run over run and tail, from the mixed room: ∫C dt = (source·L − C(T))/λ.
	want := (source*0.5 - source/lambda*(1-math.Exp(-lambda*0.5))*math.Exp(-lambda*0.25)) / lambda / 0.5
	require.True(t, nets[0].tail && nets[1].tail && nets[1].cleared)
	require.InEpsilon(t, want, nets[0].value, 0.002)
	require.InEpsilon(t, want, nets[1].value, 0.01) // the level at the start is a mean over the minute before
	raw, _ := st.netMeans(q, rules{raw: true})
	require.Greater(t, raw[1].value, 1.08*raw[0].value)
}

// The derivatives that carry the background's error are those of the value itself.
func TestNetMeanMovesWithTheBackground(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	s := room{lambda: 4, indoors: 3, share: 0.7, noise: 0.02}.days(t, rng, 4, 0.5, true)
	st := newStudy(s.in.withDefaults())
	q := st.channel(dust.PM25)
	g := *st.groundOf(q)
	nets, _ := st.netMeans(q, rules{})
	moved := func(a, b float64) []net {
		h := g
		h.a, h.b = h.a+a, h.b+b
		st.grounds[q.metric] = &h
		out, _ := st.netMeans(q, rules{})
		return out
	}
	for i, n := range moved(1, 0) {
		require.InEpsilon(t, nets[i].byA, n.value-nets[i].value, 1e-6)
	}
	for i, n := range moved(0, 0.1) {
		require.InEpsilon(t, nets[i].byB, 10*(n.value-nets[i].value), 1e-6)
	}
}

// A background that is wrong by its standard uncertainty moves ln ratio by what
// the result says it adds. Source of the rule: JCGM 100:2008, 5.2.2.
func TestSharedBackgroundErrorIsCarried(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{60, 70, 80, 65, 75}, []float64{20, 26, 23, 29, 24})
	st := newStudy(s.in.withDefaults())
	q := st.channel(dust.PM25)
	ratio := func(a float64) analysis {
		st.grounds[q.metric] = &ground{kind: constantGround, a: a, varA: 0.25, df: 4}
		return st.estimateQuantity(q, rules{})
	}
	const u, h = 0.5, 1e-4
	got := ratio(8)
	slope := (math.Log(ratio(8+h).pointRatio()) - math.Log(ratio(8-h).pointRatio())) / (2 * h)
	require.InEpsilon(t, math.Abs(slope)*u, got.background.u, 1e-6)
	want, err := WidenForDrift(got.pointRatio(), got.sessions.u, got.sessions.df, got.background.u, 4, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Low, got.low, 1e-9)
	require.InEpsilon(t, want.High, got.high, 1e-9)
}

// Days that differ, as in a real shop: the interval holds the ratio of the sources
// in 19 of 20 studies; fewer than 9 of 12 come once in 500 times.
func TestNetIntervalHoldsTheRatioOfTheSources(t *testing.T) {
	if testing.Short() {
		t.Skip("twelve rooms of twelve days")
	}
	rng := rand.New(rand.NewPCG(3, 1))
	const studies, truth = 12, 0.5
	covered := 0
	for range studies {
		s := room{lambda: 5, indoors: 2, share: 0.6, noise: 0.05, spread: 0.3}.days(t, rng, 12, truth, true)
		res := s.compare()
		if *res.CILow <= truth && truth <= *res.CIHigh {
			covered++
		}
	}
	require.GreaterOrEqual(t, covered, 9)
}

// The background is known but not how fast the air clears: runs that follow each
// other closely are told of.
func TestLeftOverDustThatCannotBeTakenOutIsTold(t *testing.T) {
	s := newShop(t)
	s.in.Background = dust.NewSeries(dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
	day := monday
	for i, levels := range [][]float64{welchOld, welchNew} {
		s.setup([]string{"old hood", "new hood"}[i], day)
		for _, x := range levels {
			for k := range 2 {
				at := day.Add(time.Duration(k) * 10 * time.Minute)
				s.run("sanding", at, runLength, flat(x+5))
				for sec := range 240 {
					require.NoError(t, s.in.Background.Append(at.Add(time.Duration(sec)*time.Second), 5, 0))
				}
			}
			day = day.AddDate(0, 0, 1)
		}
	}
	res := s.compare()
	require.Equal(t, "as the background sensor reads", res.Background.Kind.String())
	requireWarning(t, res, "dust of the run before is in 10 runs that began within 60 min of it")
}
