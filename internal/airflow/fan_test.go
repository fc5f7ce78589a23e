package airflow

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/units"
	"dustlog/internal/validation"
)

func curve(t *testing.T, flowPressure ...float64) *FanCurve {
	t.Helper()
	var points []FanPoint
	for i := 0; i < len(flowPressure); i += 2 {
		points = append(points, FanPoint{units.Flow(flowPressure[i]), units.Pressure(flowPressure[i+1])})
	}
	c, err := NewFanCurve(points)
	require.NoError(t, err)
	return c
}

// A fan that falls in a straight line, p = 2000 − 1000·Q, meets 1000·Q² where
// Q² + Q − 2 = 0: Q = 1. Two in series, p = 4000 − 2000·Q: Q = √5 − 1. Two in
// parallel, p = 2000 − 500·Q: Q = (√8.25 − 0.5)/2. By hand.
func TestOperatingPointsThatCanBeSolvedByHand(t *testing.T) {
	one := curve(t, 0, 2000, 0.5, 1500, 1, 1000, 2, 0)
	at, err := one.Operating(1000)
	require.NoError(t, err)
	require.InDelta(t, 1, float64(at.Flow), 1e-9)
	require.InDelta(t, 1000, float64(at.Static), 1e-6)
	require.False(t, at.Unstable)

	series, err := InSeries(one, one)
	require.NoError(t, err)
	at, err = series.Operating(1000)
	require.NoError(t, err)
	require.InDelta(t, math.Sqrt(5)-1, float64(at.Flow), 1e-9)

	parallel, err := InParallel(one, one)
	require.NoError(t, err)
	at, err = parallel.Operating(1000)
	require.NoError(t, err)
	require.InDelta(t, (math.Sqrt(8.25)-0.5)/2, float64(at.Flow), 1e-9)

	p, err := one.Static(0.75)
	require.NoError(t, err)
	require.InDelta(t, 1250, float64(p), 1e-9)
}

// Unlike fans: their pressures add at one flow, their flows at one pressure.
func TestUnlikeFansAdd(t *testing.T) {
	a, b := curve(t, 0, 2000, 1, 1000, 2, 0), curve(t, 0, 1500, 1.5, 0)
	series, err := InSeries(a, b)
	require.NoError(t, err)
	low, high := series.Span()
	require.Equal(t, []units.Flow{0, 1.5}, []units.Flow{low, high})
	p, err := series.Static(0.75)
	require.NoError(t, err)
	require.InDelta(t, 1250+750, float64(p), 1e-6)
	parallel, err := InParallel(a, b)
	require.NoError(t, err)
	p, err = parallel.Static(1.5) // 1 from the first, 0.5 from the second, both at 1000
	require.NoError(t, err)
	require.InDelta(t, 1000, float64(p), 1e-6)
	_, high = parallel.Span()
	require.InDelta(t, 3.5, float64(high), 1e-9)
}

func TestWhereTheCurveDoesNotReach(t *testing.T) {
	c := curve(t, 0.2, 1800, 1, 1000)
	_, err := c.Static(0.1)
	require.ErrorIs(t, err, ErrBeyondCurve)
	_, err = c.Operating(10)
	require.ErrorIs(t, err, ErrBeyondCurve)
	require.ErrorContains(t, err, "lets more than")
	_, err = c.Operating(1e6)
	require.ErrorContains(t, err, "lets less than")
	_, err = c.Operating(math.NaN())
	require.ErrorIs(t, err, ErrInput)
	_, err = InSeries(c, curve(t, 2, 1000, 3, 500))
	require.ErrorIs(t, err, ErrBeyondCurve)
	_, err = InParallel(c, curve(t, 2, 900, 3, 500))
	require.ErrorIs(t, err, ErrBeyondCurve)
	_, err = InParallel(c, curve(t, 0, 1000, 0.5, 1200, 1, 500))
	require.ErrorContains(t, err, "push against each other")
}

// A curve with a saddle is crossed three times by a flat system: the fan may hunt.
func TestASaddleIsUnstable(t *testing.T) {
	c := curve(t, 0.05, 1000, 0.3, 300, 0.5, 1150, 1, 100)
	at, err := c.Operating(4000)
	require.NoError(t, err)
	require.True(t, at.Unstable)
	require.Greater(t, float64(at.Flow), 0.45)
}

func TestCurvesThatAreNone(t *testing.T) {
	for _, points := range [][]FanPoint{nil, {{1, 100}}, {{1, 100}, {1, 50}}, {{-1, 100}, {1, 50}}, {{0, math.MaxFloat64}, {1, units.Pressure(math.Inf(1))}}, {{0, units.Pressure(math.NaN())}, {1, 2}}} {
		_, err := NewFanCurve(points)
		require.ErrorIs(t, err, ErrInput, "%v", points)
	}
}

// The laws by hand: a tenth faster gives 1.1, 1.21 and 1.331 times flow, pressure and
// power; a wheel twice as large 8, 4 and 32 times.
func TestPublishedFanLaws(t *testing.T) {
	const source = "fan laws (AMCA 210, ISO 5801, ACGIH Industrial Ventilation), by hand"
	p := FanPoint{units.CFM(1000), units.InWG(10)}
	faster, larger := Ratio{Speed: 1.1}, Ratio{Diameter: 2}
	validation.CheckSet(t, "a fan a tenth faster", source, map[string]float64{"cfm": 1100, "in. w.g.": 12.1, "power": 1.331},
		map[string]float64{"cfm": faster.Point(p).Flow.CFM(), "in. w.g.": faster.Point(p).Static.InWG(), "power": faster.Power()}, 1e-9, 0)
	validation.CheckSet(t, "a wheel twice as large", source, map[string]float64{"cfm": 8000, "in. w.g.": 40, "power": 32},
		map[string]float64{"cfm": larger.Point(p).Flow.CFM(), "in. w.g.": larger.Point(p).Static.InWG(), "power": larger.Power()}, 1e-9, 0)

	// "7500 cfm at 1-1/2 in. SP, 6000 ft, 200 °F, factor 0.643: select for 2.33 in.;
	// 3.53 BHP in the table is 2.27 there."
	const makers = "a fan maker's worked example of density factors, read"
	thin := Ratio{Density: 0.643}
	at := thin.Point(FanPoint{units.CFM(7500), units.InWG(2.33)})
	validation.CheckSet(t, "a fan in thin air", makers, map[string]float64{"cfm": 7500, "in. w.g.": 1.5, "horsepower": 2.27},
		map[string]float64{"cfm": at.Flow.CFM(), "in. w.g.": at.Static.InWG(), "horsepower": 3.53 * thin.Power()}, 2e-3, 0)
}

// The fan laws carry a system along: with the same k in the same air, flow goes with
// speed.
func TestFlowThroughOneSystemGoesWithSpeed(t *testing.T) {
	c := curve(t, 0, 2500, 0.2, 2400, 0.4, 2000, 0.6, 1300, 0.8, 300)
	at, err := c.Operating(5000)
	require.NoError(t, err)
	for _, speed := range []float64{0.8, 1.2, 2} {
		faster, err := c.Scaled(Ratio{Speed: speed})
		require.NoError(t, err)
		got, err := faster.Operating(5000)
		require.NoError(t, err)
		require.InEpsilon(t, speed*float64(at.Flow), float64(got.Flow), 1e-6)
	}
	_, err = c.Scaled(Ratio{Speed: -1})
	require.ErrorIs(t, err, ErrInput)
}

// Laws on curves drawn at random: the curve stays between neighbouring points, more
// resistance never gives more flow, fans in series never give less than one alone.
func TestLawsOfCurvesAtRandom(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 10))
	for range 60 {
		q, p := 0.0, 3000.0
		var points []float64
		for range 3 + r.IntN(5) {
			points = append(points, q, p)
			q += 0.05 + 0.3*r.Float64()
			p *= 0.3 + 0.65*r.Float64()
		}
		c := curve(t, append(points, q, 0)...)
		before := math.Inf(1)
		for k := 10.0; k < 1e6; k *= 1.7 {
			at, err := c.Operating(k)
			require.NoError(t, err)
			require.False(t, at.Unstable)
			require.LessOrEqual(t, float64(at.Flow), before)
			before = float64(at.Flow)
			static, err := c.Static(at.Flow)
			require.NoError(t, err)
			require.InDelta(t, float64(at.Static), float64(static), 1e-6)
			two, err := InSeries(c, c)
			require.NoError(t, err)
			more, err := two.Operating(k)
			require.NoError(t, err)
			require.GreaterOrEqual(t, float64(more.Flow), float64(at.Flow)*0.999)
		}
		for i := 1; i < len(c.Points()); i++ {
			a, b := c.Points()[i-1], c.Points()[i]
			mid, err := c.Static((a.Flow + b.Flow) / 2)
			require.NoError(t, err)
			require.True(t, mid <= a.Static+1e-9 && mid >= b.Static-1e-9)
		}
	}
}

func TestSystemThroughMeasuredPoints(t *testing.T) {
	s, err := FitSystem([]SystemPoint{{Flow: 0.2, Static: 400}, {Flow: 0.25, Static: 625}, {Flow: 0.3, Static: 900}, {Flow: 0.1, Static: 100}})
	require.NoError(t, err)
	require.InEpsilon(t, 10000, s.K, 1e-12)
	require.InEpsilon(t, 10000, *s.Low, 1e-9)
	require.InEpsilon(t, 2, *s.Exponent, 1e-9)
	require.Empty(t, s.Note)
	require.InDelta(t, 1600, float64(s.Pressure(0.4)), 1e-6)

	// Cloth alone goes with the first power, and is told from the square.
	cloth, err := FitSystem([]SystemPoint{{Flow: 0.1, Static: 101}, {Flow: 0.2, Static: 199}, {Flow: 0.3, Static: 302}, {Flow: 0.4, Static: 398}})
	require.NoError(t, err)
	require.InDelta(t, 1, *cloth.Exponent, 0.05)
	require.Contains(t, cloth.Note.String(), "rather than Q²")

	// Errors are relative: 10 % above and below give residuals of that size.
	two, err := FitSystem([]SystemPoint{{Flow: 0.2, Static: 440}, {Flow: 0.3, Static: 900 / 1.1}})
	require.NoError(t, err)
	require.InEpsilon(t, 10000, two.K, 1e-9)
	require.InDelta(t, 10, two.Points[0].Residual, 1e-9)
	require.Nil(t, two.Exponent)
	// t with one degree of freedom is 12.706; sd of ±ln 1.1 is ln 1.1·√2.
	require.InEpsilon(t, 10000*math.Exp(-12.706*math.Log(1.1)), *two.Low, 1e-3)

	one, err := FitSystem([]SystemPoint{{Flow: 0.2, Static: 400}})
	require.NoError(t, err)
	require.Nil(t, one.Low)
	require.NotEmpty(t, one.Note)
	for _, bad := range [][]SystemPoint{nil, {{Flow: 0, Static: 1}}, {{Flow: 1, Static: -1}}} {
		_, err := FitSystem(bad)
		require.ErrorIs(t, err, ErrInput)
	}
}
