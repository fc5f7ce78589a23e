package clearance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func rates(perHour ...float64) (fits []Fit) {
	for _, x := range perHour {
		fits = append(fits, Fit{PerHour: x, Background: 10, Hours: 1})
	}
	return fits
}

// Worked by hand: ln 4, ln 5, ln 6.25 lie 0.223144 apart, so m = ln 5 and s =
// 0.223144; t(0.975, 2) = 4.302653, t(0.95, 2) = 2.919986 (Student's t tables).
func TestPoolingByHand(t *testing.T) {
	p, err := Pool(rates(4, 5, 6.25))
	require.NoError(t, err)
	s := math.Log(1.25)
	require.InEpsilon(t, 5, p.PerHour, 1e-12)
	require.InEpsilon(t, 5*math.Exp(-4.302653*s/math.Sqrt(3)), p.Low, 1e-6)
	require.InEpsilon(t, 5*math.Exp(4.302653*s/math.Sqrt(3)), p.High, 1e-6)
	require.InEpsilon(t, 5*math.Exp(-2.919986*s*math.Sqrt(4.0/3)), p.NextLow, 1e-6)
	require.Equal(t, 3, p.Runs)

	one, err := Pool(rates(5))
	require.NoError(t, err)
	require.True(t, math.IsNaN(one.Low) && math.IsNaN(one.NextLow), "one run knows nothing of the next")
	_, err = Pool(nil)
	require.ErrorIs(t, err, ErrTooFew)
	_, err = Pool(rates(5, -1))
	require.ErrorIs(t, err, ErrBadInput)
}

// The next decay is faster than its lower limit in 95 % of simulated rooms, and
// the interval holds the room's rate in 95 %. 4000 rooms: standard error 0.35 points.
func TestPooledLimitsHold(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 95))
	const rooms = 4000
	var next, held int
	for range rooms {
		draw := func() float64 { return 5 * math.Exp(0.2*r.NormFloat64()) }
		p, err := Pool(rates(draw(), draw(), draw(), draw()))
		require.NoError(t, err)
		if draw() >= p.NextLow {
			next++
		}
		if p.Low <= 5 && 5 <= p.High {
			held++
		}
	}
	require.InDelta(t, 0.95, float64(next)/rooms, 0.011)
	require.InDelta(t, 0.95, float64(held)/rooms, 0.011)
}

func TestMinutesUntil(t *testing.T) {
	r := Rate{PerHour: 6, LowPerHour: 4, Background: 10, BackgroundHigh: 20, Hours: 1}
	w := MinutesUntil(50, 410, r)
	// ln(400/40) · 60/6 and ln(390/30) · 60/4, worked by hand.
	require.InDelta(t, 23.026, *w.Estimate, 0.001)
	require.InDelta(t, 38.474, *w.Upper, 0.001)
	require.False(t, w.BeyondRecord)

	require.Zero(t, *MinutesUntil(50, 40, r).Upper, "already there")
	never := MinutesUntil(10, 410, r)
	require.Nil(t, never.Estimate)
	require.Contains(t, never.Why.String(), "background is 10")
	perhaps := MinutesUntil(15, 410, r)
	require.NotNil(t, perhaps.Estimate)
	require.Nil(t, perhaps.Upper)
	require.Contains(t, perhaps.Why.String(), "as high as 20")
	one := MinutesUntil(50, 410, Pooled{Runs: 1, PerHour: 6, NextLow: math.NaN(), Background: 10, Hours: 1}.Rate())
	require.NotNil(t, one.Estimate)
	require.Nil(t, one.Upper, "one decay gives no bound for the next")
	require.True(t, MinutesUntil(11, 4100, Rate{PerHour: 1, LowPerHour: 1, Background: 10, BackgroundHigh: 10, Hours: 0.5}).BeyondRecord)
	for _, bad := range [][2]float64{{math.NaN(), 100}, {50, math.Inf(1)}, {-5, 100}} {
		require.Nil(t, MinutesUntil(bad[0], bad[1], r).Estimate)
	}
	// Waiting part of the time leaves the rest to wait.
	now := 10 + 400*math.Exp(-1)
	require.InDelta(t, *w.Estimate-10, *MinutesUntil(50, now, r).Estimate, 1e-9)
}

func TestDelivery(t *testing.T) {
	d, err := CADR(100, []float64{4, 4.4, 4.2}, []float64{0.5, 0.7, 0.6})
	require.NoError(t, err)
	require.InDelta(t, 360, d.M3PerHour, 1e-9)
	// Welch by hand: se² = (0.2² + 0.1²)/3, df = (1/60)²/[(0.04/3)²/2 + (0.01/3)²/2]
	// = 2.941; t(0.975, 2.941) = 3.21876 (Simpson integral of the density, done apart).
	require.InDelta(t, 360-100*3.21876*math.Sqrt(0.05/3), d.Low, 0.001)
	require.InDelta(t, 360+100*3.21876*math.Sqrt(0.05/3), d.High, 0.001)
	same, err := CADR(100, []float64{4, 4}, []float64{1, 1})
	require.NoError(t, err)
	require.True(t, math.IsNaN(same.Low), "no spread, no interval")
	_, err = CADR(100, nil, []float64{1})
	require.ErrorIs(t, err, ErrTooFew)
	_, err = CADR(0, []float64{1}, []float64{1})
	require.ErrorIs(t, err, ErrBadInput)
}

func TestVolumes(t *testing.T) {
	for text, want := range map[string]float64{"120m3": 120, "120 m³": 120, " 85.5 M3 ": 85.5, "1000ft3": 28.316846592, "1008 ft³": 28.543381} {
		got, err := ParseVolume(text)
		require.NoError(t, err, text)
		require.InEpsilon(t, want, got, 1e-7, text) // 1000 ft³ = 28.316846592 m³: NIST SP 811, B.8
	}
	for _, bad := range []string{"120", "", "m3", "-4 m3", "0m3", "NaN m3", "Inf ft3", "12 l"} {
		_, err := ParseVolume(bad)
		require.Error(t, err, bad)
	}
}

func TestEmissionLaws(t *testing.T) {
	hours, c := []float64{0, 0.1, 0.2, 0.3}, []float64{10, 10, 10, 10}
	none, err := Emission(hours, c, 100, 5, 10)
	require.NoError(t, err)
	require.Zero(t, none, "at the background nothing is given off")
	// A steady level needs a steady source: G = V·λ·(C − Cbg).
	steady, err := Emission(hours, []float64{60, 60, 60, 60}, 100, 5, 10)
	require.NoError(t, err)
	require.InEpsilon(t, 100*5*50*0.3, steady, 1e-12)
	_, err = Emission(hours[:1], c[:1], 100, 5, 10)
	require.ErrorIs(t, err, ErrTooFew)
	_, err = Emission(hours, c, 0, 5, 10)
	require.ErrorIs(t, err, ErrBadInput)
	_, err = Emission(hours, []float64{1, math.NaN(), 1, 1}, 100, 5, 10)
	require.ErrorIs(t, err, ErrBadInput)
	_, err = Emission([]float64{0, 0, 1, 2}, c, 100, 5, 10)
	require.ErrorIs(t, err, ErrBadInput)
}
