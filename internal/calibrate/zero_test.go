package calibrate

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// 0, 1, 2 again and again, 900 readings: mean 1, sd √(600/899), by hand.
func threeLevels(n int) (values []float64) {
	for i := range n {
		values = append(values, float64(i%3))
	}
	return values
}

func TestZeroCheck(t *testing.T) {
	z, err := CheckZero(seriesOf(t, "bench", dust.PM25, threeLevels(900), 0), start, after(15*time.Minute))
	require.NoError(t, err)
	require.Equal(t, 900, z.Readings)
	require.InDelta(t, 15, z.Minutes, 1e-9)
	require.InDelta(t, 1, z.Mean, 1e-12)
	require.InDelta(t, math.Sqrt(600./899), z.SD, 1e-12)
	require.InDelta(t, 1+3*math.Sqrt(600./899), z.Floor, 1e-9)
	require.InDelta(t, 2, z.Highest, 0)
	require.True(t, z.Enough)
	require.Empty(t, z.Warnings)
}

// In clean air a sensor sends nothing but zeros. What flags them elsewhere must
// not empty a zero check.
func TestAllZerosAreAGoodZero(t *testing.T) {
	z, err := CheckZero(seriesOf(t, "bench", dust.PM25, constant(900, 0), dust.AllZero), start, after(15*time.Minute))
	require.NoError(t, err)
	require.True(t, z.Enough)
	require.Zero(t, z.Floor)
	z, err = CheckZero(seriesOf(t, "bench", dust.PM25, constant(900, 1), dust.Stuck), start, after(15*time.Minute))
	require.NoError(t, err)
	require.InDelta(t, 1, z.Floor, 0)
}

func TestZeroCheckLeavesFaultsOut(t *testing.T) {
	s := dust.NewSeries(dust.Sensor{Name: "bench"}, dust.PM25)
	for i := range 900 {
		value, flags := 1.0, dust.Flags(0)
		if i < 30 {
			value, flags = 40, dust.WarmUp
		}
		require.NoError(t, s.Append(after(time.Duration(i)*time.Second), value, flags))
	}
	z, err := CheckZero(s, start, after(15*time.Minute))
	require.NoError(t, err)
	require.Equal(t, 30, z.LeftOut)
	require.InDelta(t, 1, z.Mean, 0)
	require.Zero(t, z.SD)
}

func TestPoorZeroChecks(t *testing.T) {
	short, err := CheckZero(seriesOf(t, "bench", dust.PM25, threeLevels(120), 0), start, after(15*time.Minute))
	require.NoError(t, err)
	require.False(t, short.Enough)
	require.Contains(t, short.Warnings[0], "30 in 10 min are the least")

	var falling []float64
	for i := range 900 {
		falling = append(falling, 100-float64(i)/9)
	}
	dirty, err := CheckZero(seriesOf(t, "bench", dust.PM25, falling, 0), start, after(15*time.Minute))
	require.NoError(t, err)
	require.Contains(t, dirty.Warnings[0], "still falling")

	_, err = CheckZero(seriesOf(t, "bench", dust.PM25, constant(900, 3), dust.FanFault), start, after(15*time.Minute))
	require.ErrorIs(t, err, ErrTooFew)
	_, err = CheckZero(seriesOf(t, "bench", dust.N03, constant(900, 3), 0), start, after(15*time.Minute))
	require.ErrorContains(t, err, "not a mass")
}

func TestZeroDrift(t *testing.T) {
	before := ZeroCheck{Mean: 1, SD: 1, Floor: 4, To: start}
	for _, c := range []struct {
		mean    float64
		percent float64
		flagged bool
	}{{1.39, 9.75, false}, {1.41, 10.25, true}, {0.59, -10.25, true}, {1, 0, false}} {
		z := ZeroCheck{Mean: c.mean}
		z.Compare(before, 7)
		require.InDelta(t, c.percent, *z.Drift.Percent, 1e-9)
		require.Equal(t, c.flagged, z.Drift.Flagged, c.mean)
		require.Equal(t, c.flagged, len(z.Warnings) > 0)
		require.EqualValues(t, 7, z.Drift.Against)
	}
	z := ZeroCheck{Mean: 0.5}
	z.Compare(ZeroCheck{}, 7)
	require.Nil(t, z.Drift.Percent, "there is no share of nothing")
	require.True(t, z.Drift.Flagged)
}
