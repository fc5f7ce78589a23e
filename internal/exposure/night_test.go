package exposure_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

func TestANightsWorkWithoutDeclaredHoursIsWarnedOf(t *testing.T) {
	start := time.Date(2026, time.March, 2, 22, 0, 0, 0, time.UTC)
	s := dust.NewSeries(dust.Sensor{Name: "bench", Position: dust.BreathingZone}, dust.PM25)
	for i := range 8 * 3600 / 4 {
		require.NoError(t, s.Append(start.Add(time.Duration(4*i)*time.Second), 1000, 0))
	}
	limit, err := exposure.ChooseLimit("us-acgih-other")
	require.NoError(t, err)
	series := []*dust.Series{s}
	in := exposure.Input{Shifts: exposure.ShiftsFromReadings(series, time.UTC), Series: series, Limit: limit}
	r, err := exposure.Assess(in)
	require.NoError(t, err)
	require.Contains(t, strings.Join(words.Strings(r.Warnings), "\n"), "run over midnight after 2026-03-02")
	in.Shifts, in.DeclaredShift = []dust.Shift{{Date: "2026-03-02", Start: start, End: start.Add(8 * time.Hour)}}, true
	r, err = exposure.Assess(in)
	require.NoError(t, err)
	require.NotContains(t, strings.Join(words.Strings(r.Warnings), "\n"), "midnight")
	require.InDelta(t, 1, *r.Shifts[0].TWA8h, 0.001)
}

func TestNoShareOfALimitWhereNobodyBreathes(t *testing.T) {
	start := time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)
	limit, err := exposure.ChooseLimit("us-acgih-other")
	require.NoError(t, err)
	for position, shown := range map[dust.Position]bool{
		dust.BreathingZone: true, dust.Room: true, dust.Exhaust: false, dust.Background: false, dust.Upstream: false, dust.Downstream: false,
	} {
		s := dust.NewSeries(dust.Sensor{Name: "one", Position: position}, dust.PM25)
		for i := range 3600 {
			require.NoError(t, s.Append(start.Add(time.Duration(i)*time.Second), 5000, 0))
		}
		r, err := exposure.Assess(exposure.Input{
			Shifts: []dust.Shift{{Date: "2026-03-02", Start: start, End: start.Add(time.Hour)}}, DeclaredShift: true,
			Series: []*dust.Series{s}, Limit: limit,
		})
		require.NoError(t, err)
		require.Equal(t, shown, r.Shifts[0].ShareOfLimit != nil, position)
		require.NotNil(t, r.Shifts[0].TWA8h, "the number itself stays")
	}
}
