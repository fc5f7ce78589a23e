package exposure

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// The curve for drawing and the highest 15 minutes are one definition: no point
// lies above the maximum, and one meets it where the burst fills whole minutes.
func TestCurveStaysBelowTheHighest15Minutes(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), 10, 0}, steady{hours(1), hours(1) + 20*time.Minute, 900, 0}, steady{hours(1.5), hours(3), 10, 0})
	peak, err := Max15min(slices.Collect(s.Usable(start, at(hours(3)))), start, at(hours(3)))
	require.NoError(t, err)
	highest := 0.0
	for _, p := range Mean15Curve(s, start, at(hours(3))) {
		require.False(t, p.At.Before(at(15*time.Minute)), "the window must lie inside")
		highest = max(highest, p.MgM3)
	}
	require.InDelta(t, 0.9, highest, 1e-9)
	require.InDelta(t, peak.Mean/1000, highest, 1e-9)
	require.Empty(t, Mean15Curve(s, start, at(10*time.Minute)))
}

func TestOverallMaskIsTheStrictest(t *testing.T) {
	one := func(state MaskState, mean float64) MaskResult {
		return MaskResult{Task: string(state), State: state, HighestMeanMgM3: &mean}
	}
	all := []MaskResult{one(NotShownNeeded, 0.1), one(MaskCannotTell, 0.5), one(KeepOn, 0.3)}
	require.Equal(t, KeepOn, OverallMask(all).State)
	require.Equal(t, "cannot tell", OverallMask(all).Worst.Task)
	require.Equal(t, MaskCannotTell, OverallMask(all[:2]).State)
	require.Equal(t, NotShownNeeded, OverallMask(all[:1]).State)
	require.Equal(t, MaskCannotTell, OverallMask(nil).State)
}
