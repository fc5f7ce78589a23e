package dust_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

var t0 = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

func TestMissingIsNeverZero(t *testing.T) {
	var v dust.Values
	_, ok := v.Get(dust.PM25)
	require.False(t, ok)
	v.Set(dust.PM25, 0)
	x, ok := v.Get(dust.PM25)
	require.True(t, ok, "a measured zero is a value")
	require.Zero(t, x)
	for _, none := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		v.Set(dust.PM25, none)
		require.False(t, v.Has(dust.PM25), "%v is no value", none)
	}
	require.Zero(t, v.Len())
}

func TestChannelNamesAreUniqueAndCarryUnits(t *testing.T) {
	seen := map[string]bool{}
	for c := range dust.ChannelCount {
		require.False(t, seen[c.Key()], c.Key())
		require.False(t, seen[c.Metric()], c.Metric())
		seen[c.Key()], seen[c.Metric()] = true, true
		require.NotEqual(t, c.Key(), c.Metric(), "the key of %s ends in its unit", c.Label())
		found, ok := dust.ChannelByKey(c.Key())
		require.True(t, ok)
		require.Equal(t, c, found)
		parsed, err := dust.ParseMetric(c.Metric())
		require.NoError(t, err)
		require.Equal(t, c, parsed)
	}
	_, err := dust.ParseMetric("pm3")
	require.ErrorContains(t, err, "pm2_5", "the error lists what there is")
}

func TestFlagsRoundTrip(t *testing.T) {
	f := dust.WarmUp | dust.Saturated | dust.NegativeMass
	parsed, err := dust.ParseFlags(f.String())
	require.NoError(t, err)
	require.Equal(t, f, parsed)
	require.Equal(t, []string{"warm_up", "saturated", "negative_mass"}, f.Names())
	require.Empty(t, dust.Flags(0).Names())
	_, err = dust.ParseFlags("warm")
	require.Error(t, err)
	require.False(t, dust.Saturated.Unusable(), "a saturated reading says: at least this much")
	require.True(t, dust.WarmUp.Unusable())
}

func TestSaturationConcernsItsOwnChannel(t *testing.T) {
	coarse := dust.SaturatedIn(dust.PM10) | dust.Humid
	require.False(t, coarse.For(dust.PM25).Has(dust.Saturated), "PM10 at its top says nothing against PM2.5")
	require.True(t, coarse.For(dust.PM10).Has(dust.Saturated))
	require.True(t, coarse.For(dust.PM25).Has(dust.Humid))
	fine := dust.SaturatedIn(dust.PM25)
	require.True(t, fine.For(dust.PM25).Has(dust.Saturated))
	require.False(t, fine.For(dust.N03).Has(dust.Saturated))
	require.True(t, dust.SaturatedIn(dust.N03).For(dust.N25).Has(dust.Saturated))
	require.False(t, fine.For(dust.Humidity).Has(dust.Saturated))
}

func TestHoldFitsThePaceOfTheReadings(t *testing.T) {
	for every, want := range map[float64]time.Duration{
		1: dust.DefaultHold, 2.3: dust.DefaultHold, 60: 90 * time.Second, 7200: 5 * time.Minute,
	} {
		s := dust.NewSeries(dust.Sensor{}, dust.PM25)
		for i := range 8 {
			at := time.Duration(float64(i) * every * float64(time.Second))
			if i > 5 {
				at += time.Hour // one long gap changes nothing
			}
			require.NoError(t, s.Append(t0.Add(at), 1, 0))
		}
		s.FitHold()
		require.Equal(t, want, s.LongestHold(), "a reading every %g s", every)
	}
}

func TestNewerReadingsDoNotChangeAnOldDay(t *testing.T) {
	s := dust.NewSeries(dust.Sensor{}, dust.PM25)
	for i := range 60 {
		require.NoError(t, s.Append(t0.Add(time.Duration(i)*time.Minute), 1, 0))
	}
	for i := range 3600 {
		require.NoError(t, s.Append(t0.Add(24*time.Hour+time.Duration(i)*time.Second), 1, 0))
	}
	s.FitHold()
	measured := func(day int) (seconds float64) {
		from := t0.AddDate(0, 0, day)
		for p := range s.Spans(from.Add(30*time.Second), from.Add(2*time.Hour)) {
			seconds += p.Seconds()
		}
		return seconds
	}
	require.InDelta(t, 59*60+90-30, measured(0), 1e-9)
	require.InDelta(t, 3600-30+4, measured(1), 1e-9)
}

func TestConcentrationNeedsItsUnit(t *testing.T) {
	for text, want := range map[string]dust.Concentration{
		"120 ug/m3": 120, "1.5 mg/m3": 1500, "1.5mg/m³": 1500, "7 µg/m³": 7,
	} {
		got, err := dust.ParseConcentration(text)
		require.NoError(t, err, text)
		require.InDelta(t, float64(want), float64(got), 1e-12, text)
	}
	for _, text := range []string{"120", "mg/m3", "x mg/m3", "NaN mg/m3", ""} {
		_, err := dust.ParseConcentration(text)
		require.Error(t, err, text)
	}
	require.Equal(t, "250 µg/m³", dust.Concentration(250).String())
	require.Equal(t, "2.5 mg/m³", dust.Concentration(2500).String())
}

func series(t *testing.T, seconds ...float64) *dust.Series {
	t.Helper()
	s := dust.NewSeries(dust.Sensor{Name: "bench"}, dust.PM25)
	for i, x := range seconds {
		require.NoError(t, s.Append(t0.Add(time.Duration(x*float64(time.Second))), float64(i+1), 0))
	}
	return s
}

func spans(s *dust.Series, from, to time.Time) (out []dust.Span) {
	for p := range s.Spans(from, to) {
		out = append(out, p)
	}
	return out
}

func TestGapsStayGaps(t *testing.T) {
	s := series(t, 0, 1, 20, 21)
	got := spans(s, t0, t0.Add(time.Minute))
	require.Len(t, got, 4)
	require.InDelta(t, 1, got[0].Seconds(), 1e-9)
	require.InDelta(t, 5, got[1].Seconds(), 1e-9, "a reading before a gap speaks for the hold time, no longer")
	require.Equal(t, t0.Add(20*time.Second).UnixMilli(), got[2].From)
	require.InDelta(t, 5, got[3].Seconds(), 1e-9, "so does the last one")
}

func TestSpansAreClippedAndStartWithTheReadingBefore(t *testing.T) {
	s := series(t, 0, 3, 6)
	got := spans(s, t0.Add(time.Second), t0.Add(4*time.Second))
	require.Len(t, got, 2)
	require.Equal(t, t0.Add(time.Second).UnixMilli(), got[0].From)
	require.InDelta(t, 1, got[0].Value, 0)
	require.Equal(t, t0.Add(4*time.Second).UnixMilli(), got[1].To)
	require.Empty(t, spans(s, t0.Add(time.Hour), t0.Add(2*time.Hour)))
}

func TestTimeGoingBackwardsIsRefused(t *testing.T) {
	s := series(t, 0, 5)
	err := s.Append(t0.Add(4*time.Second), 9, 0)
	require.ErrorIs(t, err, dust.ErrTimeBackwards)
	require.ErrorIs(t, s.Append(t0.Add(5*time.Second), 9, 0), dust.ErrTimeBackwards, "the same moment twice, too")
	require.Equal(t, 2, s.Len())
}

func TestShiftHoursFollowTheClockOnTheWall(t *testing.T) {
	// Zone rules: IANA time zone database. On 8 March 2026 clocks in this zone
	// go from 02:00 to 03:00, on 1 November from 02:00 back to 01:00.
	zone, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	hours, err := dust.ParseShiftHours("22:00-06:00", zone)
	require.NoError(t, err)
	spring := hours.On(time.Date(2026, time.March, 7, 12, 0, 0, 0, zone))
	require.Equal(t, 7*time.Hour, spring.Duration())
	autumn := hours.On(time.Date(2026, time.October, 31, 12, 0, 0, 0, zone))
	require.Equal(t, 9*time.Hour, autumn.Duration())
	require.Equal(t, "2026-10-31", autumn.Date)
	plain := hours.On(time.Date(2026, time.June, 1, 12, 0, 0, 0, zone))
	require.Equal(t, 8*time.Hour, plain.Duration())
	require.Equal(t, time.UTC, plain.Start.Location())
}

// 2028 has a leap day (the Gregorian rule): a night shift into it and out of it
// has its eight hours and its own date.
func TestShiftsAroundALeapDay(t *testing.T) {
	night, err := dust.ParseShiftHours("22:00-06:00", time.UTC)
	require.NoError(t, err)
	shifts := night.Between(time.Date(2028, 2, 28, 12, 0, 0, 0, time.UTC), time.Date(2028, 3, 1, 12, 0, 0, 0, time.UTC))
	var dates []string
	for _, s := range shifts {
		require.Equal(t, 8*time.Hour, s.Duration())
		dates = append(dates, s.Date)
	}
	require.Equal(t, []string{"2028-02-28", "2028-02-29"}, dates)
	require.Equal(t, time.Date(2028, 2, 29, 6, 0, 0, 0, time.UTC), shifts[0].End)
}

func TestShiftsBetween(t *testing.T) {
	hours, err := dust.ParseShiftHours("08:00-16:30", time.UTC)
	require.NoError(t, err)
	got := hours.Between(t0.Add(time.Hour), t0.Add(50*time.Hour))
	require.Len(t, got, 3)
	require.Equal(t, "2026-03-02", got[0].Date)
	require.Equal(t, "2026-03-04", got[2].Date)
	require.Empty(t, hours.Between(t0.Add(12*time.Hour), t0.Add(13*time.Hour)))
	for _, bad := range []string{"", "8-16", "08:00", "08:00-25:00"} {
		_, err := dust.ParseShiftHours(bad, time.UTC)
		require.Error(t, err, bad)
	}
}

func TestSetupAt(t *testing.T) {
	periods := []dust.SetupPeriod{{Setup: "A", From: t0, To: t0.Add(time.Hour)}, {Setup: "B", From: t0.Add(time.Hour)}}
	require.Empty(t, dust.SetupAt(periods, t0.Add(-time.Second)))
	require.Equal(t, "A", dust.SetupAt(periods, t0))
	require.Equal(t, "B", dust.SetupAt(periods, t0.Add(time.Hour)), "a change counts from its own moment on")
	require.Equal(t, "B", dust.SetupAt(periods, t0.Add(1000*time.Hour)))
}

func TestTasksOverlap(t *testing.T) {
	sand := dust.Task{Name: "sanding", Start: t0, Stop: t0.Add(time.Hour)}
	require.True(t, sand.Overlaps(dust.Task{Start: t0.Add(30 * time.Minute)}), "a running task has no end")
	require.False(t, sand.Overlaps(dust.Task{Start: t0.Add(time.Hour)}))
	sand.Person = "first"
	require.False(t, sand.Overlaps(dust.Task{Person: "second", Start: t0}), "two people may work at once")
	require.True(t, sand.Overlaps(dust.Task{Start: t0}), "an unnamed task may be anybody's")
	require.ErrorIs(t, dust.Task{Name: "x", Start: t0, Stop: t0}.Check(), dust.ErrTimeBackwards)
	require.Error(t, dust.Task{Start: t0}.Check())
}

func TestPositions(t *testing.T) {
	p, err := dust.ParsePosition("Breathing zone")
	require.NoError(t, err)
	require.Equal(t, dust.BreathingZone, p)
	_, err = dust.ParsePosition("ceiling")
	require.ErrorContains(t, err, "exhaust")
}
