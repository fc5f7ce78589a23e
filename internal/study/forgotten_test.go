package study

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var morning = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

// air makes minutes: quiet, then work at a level from start to stop, then a fall
// with the given half-life, all until end.
func air(quiet, level float64, start, stop, end int, halfLife float64) (out []minute) {
	x := quiet
	for i := range end {
		switch {
		case i >= start && i < stop:
			x = level
		case i >= stop:
			x = quiet + (x-quiet)*math.Exp2(-1/halfLife)
		}
		out = append(out, minute{end: morning.Add(time.Duration(i+1) * time.Minute), ugM3: x, measured: true})
	}
	return out
}

func at(minute int) time.Time { return morning.Add(time.Duration(minute) * time.Minute) }

// By construction work ends at minute 90; the level is at half one half-life later,
// so what is suggested lies between the two.
func TestAForgottenStopIsFoundNearItsTime(t *testing.T) {
	for _, halfLife := range []float64{1, 5, 10} {
		f, ok := forgottenStop(air(8, 300, 60, 90, 240, halfLife), at(60))
		require.True(t, ok, "half-life %g min", halfLife)
		require.False(t, f.Stop.Before(at(90)))
		require.False(t, f.Stop.After(at(90+int(halfLife)+1)), "%s", f.Stop)
		require.InDelta(t, 8, f.QuietUgM3, 0.5)
		require.True(t, f.Quiet.After(f.Stop))
	}
}

func TestNothingIsSuggestedTooSoonOrWithoutGround(t *testing.T) {
	for name, minutes := range map[string][]minute{
		"still dusty":       air(8, 300, 60, 240, 240, 5),
		"quiet not so long": air(8, 300, 60, 200, 240, 1),
		"no dust ever":      air(8, 8, 60, 90, 240, 5),
		"hardly any dust":   air(8, 15, 60, 90, 240, 5),
		"nothing measured":  make([]minute, 240),
		"no minute":         nil,
	} {
		_, ok := forgottenStop(minutes, at(60))
		require.False(t, ok, name)
	}
	// Dust before the task says nothing about it.
	_, ok := forgottenStop(air(8, 300, 60, 90, 300, 1), at(150))
	require.False(t, ok)
	// A sensor that was off may have missed the dust.
	gap := air(8, 300, 60, 90, 240, 5)
	for i := 150; i < 230; i++ {
		gap[i].measured = false
	}
	_, ok = forgottenStop(gap, at(60))
	require.False(t, ok)
}

func TestPausesWithinATaskAreNoStop(t *testing.T) {
	minutes := append(air(8, 300, 60, 80, 110, 3), air(8, 300, 10, 30, 150, 3)...)
	for i := range minutes {
		minutes[i].end = at(i + 1)
	}
	f, ok := forgottenStop(minutes, at(60))
	require.True(t, ok)
	require.False(t, f.Stop.Before(at(140)), "the second stretch of work counts")
}
