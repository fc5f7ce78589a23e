package exposure

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// centralEurope has a clock change at 01:00 UTC on 29 March and 25 October 2026
// (rule of Directive 2000/84/EC: the last Sundays of March and October).
func centralEurope(t *testing.T) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("CET")
	require.NoError(t, err)
	return zone
}

func appendSteady(t *testing.T, s *dust.Series, from, to time.Time, value float64, flags dust.Flags) {
	t.Helper()
	for ; from.Before(to); from = from.Add(time.Second) {
		require.NoError(t, s.Append(from, value, flags))
	}
}

func TestShiftsFromReadingsByLocalDay(t *testing.T) {
	zone := time.FixedZone("", 10*3600)
	s := dust.NewSeries(dust.Sensor{Name: "a", Position: dust.BreathingZone}, dust.PM25)
	first := time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC) // 08:00 on 2 March there
	appendSteady(t, s, first, first.Add(time.Minute), 1, 0)
	appendSteady(t, s, first.Add(8*time.Hour), first.Add(8*time.Hour+time.Minute), 1, 0)
	appendSteady(t, s, first.Add(24*time.Hour), first.Add(25*time.Hour), 1, 0)
	shifts := ShiftsFromReadings([]*dust.Series{s}, zone)
	require.Len(t, shifts, 2)
	require.Equal(t, "2026-03-02", shifts[0].Date)
	require.Equal(t, first, shifts[0].Start)
	require.Equal(t, first.Add(8*time.Hour+59*time.Second+dust.DefaultHold), shifts[0].End)
	require.Equal(t, "2026-03-03", shifts[1].Date)
}

func TestShiftsFromReadingsUsesUsableReadingsOfAllSensors(t *testing.T) {
	a := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, time.Minute, 0, dust.WarmUp}, steady{time.Minute, time.Hour, 5, 0})
	b := seriesOf(t, dust.Room, dust.PM25, steady{time.Hour, 2 * time.Hour, 5, 0}, steady{2 * time.Hour, 3 * time.Hour, 5, dust.Stuck})
	shifts := ShiftsFromReadings([]*dust.Series{a, nil, b}, nil)
	require.Len(t, shifts, 1)
	require.Equal(t, at(time.Minute), shifts[0].Start)
	require.Equal(t, at(2*time.Hour), shifts[0].End)
	require.Empty(t, ShiftsFromReadings(nil, nil))
}

func TestShiftsFromReadingsAtMidnight(t *testing.T) {
	zone := centralEurope(t)
	night := time.Date(2026, 3, 2, 22, 59, 0, 0, time.UTC) // 23:59 there
	a := dust.NewSeries(dust.Sensor{Name: "a"}, dust.PM25)
	appendSteady(t, a, night, night.Add(59*time.Second), 1, 0)
	b := dust.NewSeries(dust.Sensor{Name: "b"}, dust.PM25)
	appendSteady(t, b, night.Add(time.Minute), night.Add(2*time.Minute), 1, 0)
	shifts := ShiftsFromReadings([]*dust.Series{a, b}, zone)
	require.Len(t, shifts, 2)
	require.Equal(t, "2026-03-02", shifts[0].Date)
	require.Equal(t, "2026-03-03", shifts[1].Date)
	require.False(t, shifts[0].End.After(shifts[1].Start), "shifts must not share time")
}

// A night shift from 22:00 to 06:00 has 7 real hours when clocks go forward and 9
// when they go back; a constant 80 µg/m³ then gives 70 and 90 µg/m³ over 8 h.
func TestShiftOverAClockChange(t *testing.T) {
	zone := centralEurope(t)
	hours, err := dust.ParseShiftHours("22:00-06:00", zone)
	require.NoError(t, err)
	for _, night := range []struct {
		day  time.Time
		want float64
	}{
		{time.Date(2026, 3, 28, 12, 0, 0, 0, zone), 0.07},
		{time.Date(2026, 10, 24, 12, 0, 0, 0, zone), 0.09},
		{time.Date(2026, 6, 1, 12, 0, 0, 0, zone), 0.08},
	} {
		shift := hours.On(night.day)
		s := dust.NewSeries(dust.Sensor{Name: "a", Position: dust.BreathingZone}, dust.PM25)
		appendSteady(t, s, shift.Start, shift.End, 80, 0)
		r := mustAssess(t, Input{Shifts: []dust.Shift{shift}, Series: []*dust.Series{s}, Limit: mustLimit(t, "eu-cmrd"), DeclaredShift: true})
		require.InDelta(t, night.want, *r.Shifts[0].TWA8h, 1e-12)
		require.InDelta(t, night.want, *r.Shifts[0].TWA8hFilled, 1e-12)
		require.InDelta(t, 0.08, *r.Shifts[0].MeasuredMean, 1e-12)
		require.Equal(t, night.day.Format(time.DateOnly), r.Shifts[0].Date)
	}
}
