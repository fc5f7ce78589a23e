package exposure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// The effect of the rules on bad readings, by hand: 6 h at 0.1 mg/m³, 1 h at
// 0.5 mg/m³ left out as warm-up, 1 h at 0.3 mg/m³ in humid air.
func TestEffectOfTheRulesOnBadReadings(t *testing.T) {
	day := seriesOf(t, dust.BreathingZone, dust.PM25,
		steady{0, hours(1), 500, dust.WarmUp}, steady{hours(1), hours(7), 100, 0}, steady{hours(7), hours(8), 300, dust.Humid})
	s := oneShift(t, "uk-hard", day)
	require.InDelta(t, (6*0.1+0.3)/7, *s.TWA8hFilled, 1e-9)
	require.InDelta(t, (6*0.1+0.3+0.5)/8, *s.TWA8hWithLeftOut, 1e-9)
	require.InDelta(t, 0.1, *s.TWA8hWithoutDoubtful, 1e-9)

	clean := oneShift(t, "uk-hard", seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(8), 100, 0}))
	require.Nil(t, clean.TWA8hWithLeftOut)
	require.Nil(t, clean.TWA8hWithoutDoubtful)

	// A reading that is no number has no effect that could be told.
	broken := oneShift(t, "uk-hard", seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), math.NaN(), dust.MissingValue}, steady{hours(1), hours(8), 100, 0}))
	require.Nil(t, broken.TWA8hWithLeftOut)

	allHumid := oneShift(t, "uk-hard", seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(8), 100, dust.Humid}))
	require.Nil(t, allHumid.TWA8hWithoutDoubtful)
}
