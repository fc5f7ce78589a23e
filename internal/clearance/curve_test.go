package clearance

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// A decay made by the formula in the package comment, 4 1/h from 310 to 10 µg/m³,
// comes back as the curve: at every mean, and after one half-life (ln 2/4 h) half of
// what is above the background.
func TestTheCurveIsWhatWasFitted(t *testing.T) {
	start := time.Date(2026, time.March, 2, 9, 0, 0, 0, time.UTC)
	source := dust.NewSeries(dust.Sensor{Name: "room"}, dust.PM25)
	off := start.Add(20 * time.Minute)
	for s := range 80 * 60 {
		at := start.Add(time.Duration(s) * time.Second)
		c := 310.0
		if at.After(off) {
			c = 10 + 300*math.Exp(-4*at.Sub(off).Hours())
		}
		require.NoError(t, source.Append(at, c, 0))
	}
	trace := NewTrace(source.Sensor, source.Channel)
	trace.Add(source)
	r, err := Analyse(Input{Trace: trace, Tasks: []dust.Task{{Name: "sawing", Start: start, Stop: off}}})
	require.NoError(t, err)
	require.NotEmpty(t, r.Decays)
	d := r.Decays[0]
	require.Equal(t, Measured, d.State, d.Why)
	n := 0
	for at, c := range trace.Means(d.From, d.To) {
		fitted, ok := d.At(at)
		require.True(t, ok)
		require.InEpsilon(t, c, fitted, 0.01)
		n++
	}
	require.Equal(t, d.Means, n)
	begin, _ := d.At(d.From.Add(10 * time.Second))
	require.InDelta(t, *d.C0, begin, 1e-9)
	half, _ := d.At(d.From.Add(10*time.Second + time.Duration(*d.HalfLifeMinutes*float64(time.Minute))))
	require.InEpsilon(t, (*d.C0-*d.Background)/2, half-*d.Background, 1e-6)
	until, err := d.Until(*d.Background + (*d.C0-*d.Background)/2)
	require.NoError(t, err)
	require.InEpsilon(t, *d.HalfLifeMinutes, until.Minutes, 1e-6)
	_, err = Decay{State: CannotTell}.Until(20)
	require.ErrorIs(t, err, ErrNoFit)
	_, ok := Decay{State: CannotTell}.At(start)
	require.False(t, ok)
}
