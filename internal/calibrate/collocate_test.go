package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/validation"
)

// shopAir is a level a second: bursts of work that decay with a time constant of
// 4 min, as at 15 air changes an hour.
func shopAir(seconds int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 2))
	levels, level := make([]float64, seconds), 20.0
	for i := range levels {
		level += (20 - level) / 240
		if r.IntN(300) == 0 {
			level += 200 * r.Float64()
		}
		levels[i] = level
	}
	return levels
}

// reads is what a sensor of some gain and offset makes of the air. Its noise is
// in the readings, so means of a minute have an eighth of it.
func reads(t *testing.T, name string, air []float64, gain, offset float64, seed uint64) *dust.Series {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 3))
	values := make([]float64, len(air))
	for i, level := range air {
		values[i] = max(0, offset+gain*level+4*r.NormFloat64())
	}
	return seriesOf(t, name, dust.PM25, values, 0)
}

func TestCollocation(t *testing.T) {
	const hours = 6
	air := shopAir(hours*3600, 1)
	a, b := reads(t, "a", air, 1, 2, 1), reads(t, "b", air, 1.3, 5, 2)
	c, err := Collocate([]Beside{{Mass: a}, {Mass: b, Humidity: seriesOf(t, "b", dust.Humidity, constant(hours*3600, 42), 0)}}, start, after(hours*time.Hour), CollocationOptions{})
	require.NoError(t, err)
	require.Equal(t, "a", c.Reference)
	require.Len(t, c.Others, 1)
	p := c.Others[0]
	require.Empty(t, p.Why)
	require.Equal(t, hours*60, p.Means)
	require.Greater(t, p.Every, 1, "one-minute means of a room are not independent")
	require.InDelta(t, p.Means/p.Every, p.Used, 1)
	require.NotNil(t, p.Deming)
	require.Less(t, p.Deming.SlopeLow, 1.3)
	require.Greater(t, p.Deming.SlopeHigh, 1.3)
	require.InDelta(t, 1.3, p.Deming.Slope, 0.05)
	require.InDelta(t, 1.3, p.ReducedMajorAxis.Slope, 0.05)
	require.InDelta(t, 5-1.3*2, p.Deming.Intercept, 3)
	require.InDelta(t, 42, *c.HumidityHigh, 0)
	require.Nil(t, c.TemperatureLow)
}

// Taking every mean as independent would give a much smaller standard error than
// the means allow: the interval of the thinned ones must be wider.
func TestThinningWidens(t *testing.T) {
	air := shopAir(4*3600, 5)
	x, y := means(reads(t, "a", air, 1, 0, 1), start, after(4*time.Hour), time.Minute), means(reads(t, "b", air, 1.1, 0, 2), start, after(4*time.Hour), time.Minute)
	all, err := Deming(x, y, 1)
	require.NoError(t, err)
	p := comparePair("b", x, y, CollocationOptions{Mean: time.Minute, Delta: 1})
	require.Greater(t, p.Deming.SlopeSE, all.SlopeSE)
}

func TestCollocationThatShowsNothing(t *testing.T) {
	hour := after(time.Hour)
	flat := seriesOf(t, "a", dust.PM25, constant(3600, 7), 0)
	c, err := Collocate([]Beside{{Mass: flat}, {Mass: flat}}, start, hour, CollocationOptions{})
	require.NoError(t, err)
	require.NotEmpty(t, c.Others[0].Why)
	require.Nil(t, c.Others[0].Deming)

	var rising []float64
	for i := range 3600 {
		rising = append(rising, float64(i))
	}
	c, err = Collocate([]Beside{{Mass: seriesOf(t, "a", dust.PM25, rising, 0)}, {Mass: seriesOf(t, "b", dust.PM25, rising, 0)}}, start, hour, CollocationOptions{})
	require.NoError(t, err)
	require.Nil(t, c.Others[0].Deming, "one rise is one observation: %s", c.Others[0].Why)

	c, err = Collocate([]Beside{{Mass: flat}, {Mass: seriesOf(t, "b", dust.PM25, constant(3600, 7), dust.WarmUp)}}, start, hour, CollocationOptions{})
	require.NoError(t, err)
	require.Contains(t, c.Others[0].Why, "no time")
	require.Contains(t, c.Warnings[0], "no sensor sends the relative humidity")

	short := reads(t, "a", shopAir(1800, 1), 1, 0, 1)
	c, err = Collocate([]Beside{{Mass: short, Humidity: seriesOf(t, "a", dust.Humidity, constant(1800, 80), 0)}, {Mass: short}}, start, after(30*time.Minute), CollocationOptions{})
	require.NoError(t, err)
	require.Contains(t, c.Warnings[0], "up to 80 %")
	require.Contains(t, c.Warnings[1], "an hour")
}

func TestMeansAtTheTopAreLeftOut(t *testing.T) {
	s := dust.NewSeries(dust.Sensor{Name: "a"}, dust.PM25)
	for i := range 180 {
		flags := dust.Flags(0)
		if i == 70 {
			flags = dust.Saturated
		}
		if i >= 120 && i < 140 { // a gap, less the 5 s that the reading before speaks
			continue
		}
		require.NoError(t, s.Append(after(time.Duration(i)*time.Second), 10, flags))
	}
	got := means(s, start, after(3*time.Minute), time.Minute)
	require.InDelta(t, 10, got[0], 0)
	require.True(t, math.IsNaN(got[1]), "a minute with a reading at the top is worth at least its mean, no more")
	require.True(t, math.IsNaN(got[2]), "45 s of 60 s is the least")
}

func TestBadCollocations(t *testing.T) {
	s := seriesOf(t, "a", dust.PM25, constant(60, 1), 0)
	for text, run := range map[string]func() (Collocation, error){
		"two sensors": func() (Collocation, error) {
			return Collocate([]Beside{{Mass: s}}, start, after(time.Hour), CollocationOptions{})
		},
		"give 1 to 5 min": func() (Collocation, error) {
			return Collocate([]Beside{{Mass: s}, {Mass: s}}, start, after(time.Hour), CollocationOptions{Mean: time.Second})
		},
		"does not end after": func() (Collocation, error) {
			return Collocate([]Beside{{Mass: s}, {Mass: s}}, start, start, CollocationOptions{})
		},
		"cannot be compared": func() (Collocation, error) {
			return Collocate([]Beside{{Mass: s}, {Mass: seriesOf(t, "b", dust.PM10, constant(60, 1), 0)}}, start, after(time.Hour), CollocationOptions{})
		},
	} {
		_, err := run()
		require.ErrorContains(t, err, text)
	}
}

// The autocorrelation of an AR(1) process falls as φ^k (Box & Jenkins 1970).
func TestAutocorrelation(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	x, level := make([]float64, 20_000), 0.0
	for i := range x {
		level = 0.8*level + r.NormFloat64()
		x[i] = level
		if i%7 == 0 {
			x[i] = math.NaN() // missing ones are left out, not taken for zero
		}
	}
	for lag := range 6 {
		got, ok := autocorrelation(x, lag)
		require.True(t, ok)
		require.InDelta(t, math.Pow(0.8, float64(lag)), got, 0.04, "lag %d", lag)
	}
	k, ok := correlationStep(x, x)
	require.True(t, ok)
	require.Equal(t, 5, k, "0.8^4 = 0.41, 0.8^5 = 0.33, 1/e = 0.37")
}

// JCGM 100:2008, G.4.1, example: three inputs with relative standard
// uncertainties 0.25, 0.57 and 0.82 % of 9, 4 and 14 degrees of freedom give 19.0
// (numbers from memory).
func TestPublishedEffectiveDegreesOfFreedom(t *testing.T) {
	v := func(percent, df float64) term { return term{percent * percent, df} }
	got := effectiveDF(1.03*1.03, v(0.25, 9), v(0.57, 4), v(0.82, 14))
	validation.Check(t, "effective degrees of freedom, Welch–Satterthwaite", "JCGM 100:2008, G.4.1, example (from memory)", 19.0, got, 0.05)
}

// u and df: R 4.2.2, with the formula of DriftBetween.
func TestDrift(t *testing.T) {
	d, err := DriftBetween(Line{Slope: 1, SlopeSE: 0.02, DF: 10}, Line{Slope: 1.06, SlopeSE: 0.03, DF: 8})
	require.NoError(t, err)
	require.InDelta(t, 1.06, d.Change, 1e-12)
	require.InDelta(t, 0.0482985715524, d.U, 1e-12)
	require.InDelta(t, 56.5671640463, d.DF, 1e-8)

	// No drift leaves what the two collocations could not see.
	none, err := DriftBetween(Line{Slope: 2, SlopeSE: 0.04, DF: 10}, Line{Slope: 2, SlopeSE: 0.04, DF: 10})
	require.NoError(t, err)
	require.InDelta(t, math.Hypot(0.02, 0.02), none.U, 1e-12)
	require.InDelta(t, 20, none.DF, 1e-9)

	// The other way round in time is the same uncertainty.
	back, err := DriftBetween(Line{Slope: 1.06, SlopeSE: 0.03, DF: 8}, Line{Slope: 1, SlopeSE: 0.02, DF: 10})
	require.NoError(t, err)
	require.InDelta(t, d.U, back.U, 1e-12)

	for _, bad := range []Line{{Slope: -1, SlopeSE: 1, DF: 3}, {Slope: 1, SlopeSE: math.NaN(), DF: 3}, {Slope: 1, SlopeSE: 0.1}} {
		_, err := DriftBetween(Line{Slope: 1, SlopeSE: 0.1, DF: 4}, bad)
		require.Error(t, err)
	}
}
