package airflow

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/units"
	"dustlog/internal/validation"
)

// The data of NIST StRD Norris lie beside the calibration lines, where they came from
// an archive; the certified values are from memory.
func TestPublishedLine(t *testing.T) {
	text, err := os.ReadFile("../calibrate/testdata/lines.json")
	require.NoError(t, err)
	var file struct {
		Cases []struct {
			ID     string
			Inputs struct{ X, Y []float64 }
		}
	}
	require.NoError(t, json.Unmarshal(text, &file))
	for _, c := range file.Cases {
		if c.ID != "norris_deming" {
			continue
		}
		require.Len(t, c.Inputs.X, 36)
		l, err := fitLine(c.Inputs.X, c.Inputs.Y)
		require.NoError(t, err)
		validation.CheckSet(t, "line by least squares", "NIST StRD, Norris, certified values, from memory", map[string]float64{
			"slope": 1.00211681802045, "intercept": -0.262323073774029, "sd of slope": 0.000429796848199937, "residual sd": 0.884796396144373,
		}, map[string]float64{"slope": l.Slope, "intercept": l.Intercept, "sd of slope": l.seSlope(), "residual sd": l.sd}, 1e-9, 0)
		return
	}
	t.Fatal("the data are missing")
}

// At both ends of Fieller's range the line's confidence band just holds the level.
func TestTheRangeEndsWhereTheBandLeavesTheLevel(t *testing.T) {
	l, err := fitLine([]float64{0, 2, 3, 7, 9, 14}, []float64{400, 431, 425, 489, 510, 560})
	require.NoError(t, err)
	at, low, high, ok := l.reaches(700)
	require.True(t, ok)
	require.InDelta(t, 700, l.Intercept+l.Slope*at, 1e-9)
	require.Less(t, low, at)
	require.Greater(t, high, at)
	for _, x := range []float64{low, high} {
		half := l.t() * l.sd * math.Sqrt(1/l.n+(x-l.meanX)*(x-l.meanX)/l.sxx)
		require.InDelta(t, half, math.Abs(l.Intercept+l.Slope*x-700), 1e-6)
	}
	flat, err := fitLine([]float64{0, 1, 2, 3, 4}, []float64{400, 420, 390, 425, 401})
	require.NoError(t, err)
	_, _, _, ok = flat.reaches(700)
	require.False(t, ok)
}

// Simulated: the range holds the true day in 95 % of filters. Seed 7; the standard
// error of the share is 0.5 %.
func TestTheRangeHoldsTheTrueDay(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	held, told := 0, 0
	for range 2000 {
		var x, y []float64
		for day := range 12 {
			x = append(x, float64(day)*2)
			y = append(y, 400+10*float64(day)*2+20*r.NormFloat64())
		}
		l, err := fitLine(x, y)
		require.NoError(t, err)
		_, low, high, ok := l.reaches(800) // day 40
		if !ok {
			continue
		}
		told++
		if low <= 40 && 40 <= high {
			held++
		}
	}
	require.Greater(t, told, 1990)
	require.InDelta(t, 0.95, float64(held)/float64(told), 0.015)
}

// Slopes of the pairs by hand: 1, 2, 5, 3, 7, 11 → median (3 + 5)/2.
func TestTheilSenIsTheMedianOfAllSlopes(t *testing.T) {
	require.InDelta(t, 4, theilSen([]float64{0, 1, 2, 3}, []float64{0, 1, 4, 15}), 1e-12)
	require.True(t, math.IsNaN(theilSen([]float64{1, 1}, []float64{1, 2})))
	clean := theilSen([]float64{0, 1, 2, 3, 4, 5, 6, 7, 8}, []float64{1, 3, 5, 7, 1000, 11, 13, 15, 17})
	require.InDelta(t, 2, clean, 1e-12, "one wild reading of nine does not move it")
}

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func day(n float64) time.Time { return monday.Add(time.Duration(n * 24 * float64(time.Hour))) }

// drops makes readings every two days: at 0.25 m³/s the drop is 400 Pa + 10 Pa a day;
// the flow wavers and the drop with it, in proportion.
func drops(n int, perDay float64, noise float64) (list []DropReading) {
	r := rand.New(rand.NewPCG(3, uint64(n)))
	for i := range n {
		q := units.Flow(0.25 + 0.05*math.Sin(float64(i)*2))
		p := (400 + perDay*float64(2*i)) * float64(q) / 0.25 * (1 + noise*r.NormFloat64())
		list = append(list, DropReading{At: day(float64(2 * i)), Drop: units.Pressure(p), Flow: &q})
	}
	return list
}

func TestALoadingFilterAndItsDay(t *testing.T) {
	l := FilterLoading(drops(10, 10, 0.01), nil, 800)
	require.Equal(t, Rising, l.Answer, l.Why)
	scale := float64(*l.Reference) / 0.25
	require.InEpsilon(t, 70*scale, float64(*l.PerWeek), 0.1)
	require.InEpsilon(t, float64(*l.PerWeek), float64(*l.Robust), 0.1)
	want := (800/scale - 400) / 10 // days
	require.InDelta(t, want, l.ReachedAt.Sub(monday).Hours()/24, 3)
	require.True(t, l.Earliest.Before(l.ReachedAt) && l.ReachedAt.Before(l.LatestAt))
	require.Contains(t, l.Why.String(), "a week (95 % interval")
}

func TestWhereNoDayCanBeTold(t *testing.T) {
	flat := FilterLoading(drops(10, 0, 0.02), nil, 800)
	require.Equal(t, NotRising, flat.Answer)
	require.True(t, flat.ReachedAt.IsZero())
	require.Contains(t, flat.Why.String(), "not the same as no rise")

	few := FilterLoading(drops(4, 10, 0), nil, 800)
	require.Equal(t, CannotTell, few.Answer)
	require.Nil(t, few.PerWeek)
	require.NotNil(t, few.Latest)

	far := FilterLoading(drops(10, 1, 0.001), nil, 8000)
	require.Equal(t, Rising, far.Answer)
	require.True(t, far.ReachedAt.IsZero())
	require.Contains(t, far.Why.String(), "cannot be told yet")

	falling := FilterLoading(drops(10, -10, 0.01), nil, 800)
	require.Equal(t, Falling, falling.Answer)
	require.Contains(t, falling.Why.String(), "leaks")

	require.Equal(t, CannotTell, FilterLoading(nil, nil, 800).Answer)

	over := FilterLoading(drops(10, 10, 0.01), nil, 500)
	require.Equal(t, OverLimit, over.Answer)
	require.Contains(t, over.Why.String(), "respirator")
}

// A drop that rises only since the flow does is no loading.
func TestMoreFlowIsNoLoading(t *testing.T) {
	var list []DropReading
	for i := range 8 {
		q := units.Flow(0.2 + 0.02*float64(i))
		list = append(list, DropReading{At: day(float64(2 * i)), Drop: units.Pressure(2000 * float64(q)), Flow: &q})
	}
	l := FilterLoading(list, nil, 0)
	require.NotEqual(t, Rising, l.Answer)
	for i := range list {
		list[i].Flow = nil
	}
	l = FilterLoading(list, nil, 0)
	require.Equal(t, Rising, l.Answer)
	require.Nil(t, l.Reference)
	require.Contains(t, l.Why.String(), "cannot be told from a full filter")
}

func TestACleanedFilterStartsAnew(t *testing.T) {
	list := append(drops(10, 30, 0.01), DropReading{At: day(19), Drop: 400})
	l := FilterLoading(list, []time.Time{day(11), day(100), day(5)}, 0)
	require.Equal(t, day(11), l.Since)
	require.Len(t, l.Readings, 5)
	require.Contains(t, l.Why.String(), "1 reading(s) without a flow")
}

func TestAirChangesAgainstAMeasuredClearance(t *testing.T) {
	// By hand: 600 m³/h in 120 m³ is 5/h.
	p := func(x float64) *float64 { return &x }
	c := ChangesOf(units.M3H(600), 120, &Clearance{p(4.9), p(4.6), p(5.2)})
	require.InDelta(t, 5, c.PerHour, 1e-9)
	require.InDelta(t, 0.98, *c.Share, 1e-9)
	require.Contains(t, c.Answer.String(), "lies within")
	require.Contains(t, ChangesOf(units.M3H(600), 120, &Clearance{p(3), p(2.5), p(3.5)}).Answer.String(), "more slowly")
	require.Contains(t, ChangesOf(units.M3H(600), 120, &Clearance{p(8), nil, nil}).Answer.String(), "faster")
	require.Contains(t, ChangesOf(units.M3H(600), 120, nil).Answer.String(), CannotTell)
	require.Contains(t, ChangesOf(units.M3H(600), 120, &Clearance{}).Answer.String(), CannotTell)
}

func TestACurrentAboveTheRatingIsAStopLine(t *testing.T) {
	rated := units.Current(9)
	over := CheckMotor(9.1, 0, &rated)
	require.True(t, over.Over)
	require.Contains(t, over.Answer.String(), "ask an electrician")
	under := CheckMotor(4.5, 4.5, &rated)
	require.False(t, under.Over)
	require.InDelta(t, 50, *under.Percent, 1e-9)
	require.Contains(t, CheckMotor(4.5, 4.5, nil).Answer.String(), CannotTell)
}

func TestDustAgainstFlow(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	// True: a tenth less dust for each 100 cfm more.
	var sessions []Session
	for i := range 12 {
		q := units.CFM(400 + 50*float64(i))
		for range 3 {
			sessions = append(sessions, Session{Start: day(float64(i)), Setup: "A", Flow: q, Measured: day(float64(i)), Dust: 300 * math.Pow(0.9, q.CFM()/100) * math.Exp(0.05*r.NormFloat64())})
		}
	}
	got := RegressDust(sessions)
	require.Equal(t, LessDust, got.Answer, got.Why)
	require.Equal(t, 36, got.Sessions)
	require.Equal(t, 12, got.Measurements)
	require.InDelta(t, -10, *got.Percent, 1.5)
	require.True(t, *got.Low < -10 && *got.High > -10)

	// Many sessions beside one flow say nothing about flow.
	for i := range sessions {
		sessions[i].Flow, sessions[i].Measured = units.CFM(500), monday
	}
	got = RegressDust(sessions)
	require.Equal(t, TooLittleData, got.Answer)
	require.Nil(t, got.Percent)
	require.Contains(t, got.Why.String(), "36 session(s) beside 1 measurement(s) of the flow under 1 setup(s): it takes 3 measurements more than setups")

	// Dust that has nothing to do with flow, from two setups.
	for i := range sessions {
		sessions[i].Flow, sessions[i].Measured = units.CFM(400+10*float64(i)), day(float64(i))
		sessions[i].Dust = 200 * math.Exp(0.3*math.Cos(float64(i)*2.5))
		if i > 20 {
			sessions[i].Setup = "B"
		}
	}
	got = RegressDust(sessions)
	require.Equal(t, NoRelation, got.Answer)
	require.Contains(t, got.Why.String(), "what else the setups (A, B) differ in")

	for i := range sessions {
		sessions[i].Flow = units.CFM(500 + float64(i%3))
	}
	require.Equal(t, TooLittleData, RegressDust(sessions).Answer, "flows that hardly differ")
	require.Equal(t, TooLittleData, RegressDust([]Session{{Dust: 0, Flow: 1}, {Dust: math.Inf(1), Flow: 1}}).Answer)
}

// A setup with more flow and less dust, and no relation within the setups: the change
// of setup must not be taken for an effect of flow.
func TestAChangeOfSetupIsNoEffectOfFlow(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	var sessions []Session
	for i := range 10 {
		s := Session{Start: day(float64(i)), Measured: day(float64(i)), Setup: "old", Flow: units.CFM(500 + 40*r.NormFloat64()), Dust: 200 * math.Exp(0.2*r.NormFloat64())}
		if i >= 5 {
			s.Setup, s.Flow, s.Dust = "new", s.Flow+units.CFM(300), s.Dust*0.3
		}
		sessions = append(sessions, s)
	}
	got := RegressDust(sessions)
	require.Equal(t, NoRelation, got.Answer, got.Why)
	require.Less(t, *got.Across, -25.0)

	// With a true tenth less within each setup, that is found, whatever the setups do.
	for i := range sessions {
		sessions[i].Dust = 200 * math.Pow(0.9, sessions[i].Flow.CFM()/100) * math.Exp(0.005*r.NormFloat64())
		if sessions[i].Setup == "new" {
			sessions[i].Dust *= 3
		}
	}
	got = RegressDust(sessions)
	require.Equal(t, LessDust, got.Answer)
	require.InDelta(t, -10, *got.Percent, 2)
	require.Greater(t, *got.Across, 0.0, "thrown together the setups would say the opposite")
}

// The pooled slope by hand: A (0,0) (1,1) (2,4), B (0,5) (2,5): Sxx 2 + 2, Sxy 4 + 0,
// slope 1; residual sum of squares 26/3 + 0 − 4 = 14/3 on 5 − 2 − 1 = 2.
func TestPooledSlopeByHand(t *testing.T) {
	var a, b, both line
	a.add(0, 0)
	a.add(1, 1)
	a.add(2, 4)
	b.add(0, 5)
	b.add(2, 5)
	both.n = 5 - 2 + 1
	both.pool(a)
	both.pool(b)
	both.settle()
	require.InDelta(t, 1, both.Slope, 1e-12)
	require.InDelta(t, math.Sqrt(14.0/3/2), both.sd, 1e-12)
}
