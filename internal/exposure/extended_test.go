package exposure

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/validation"
	"dustlog/internal/words"
)

func TestPublishedBriefAndScala(t *testing.T) {
	f, err := BriefScalaDaily(12)
	require.NoError(t, err)
	validation.Check(t, "Brief and Scala, factor of the limit for 12 h a day", "web page “Extrapolating airborne contaminant results to longer shifts”", 0.5, f, 1e-12)
}

func TestBriefAndScala(t *testing.T) {
	daily := func(h float64) float64 { f, err := BriefScalaDaily(h); require.NoError(t, err); return f }
	weekly := func(h float64) float64 { f, err := BriefScalaWeekly(h); require.NoError(t, err); return f }
	// Worked from the formula: 40/56 · 112/128 = 0.625; 8/10 · 14/16 = 0.7.
	require.InDelta(t, 0.625, weekly(56), 1e-12)
	require.InDelta(t, 0.7, daily(10), 1e-12)
	// No shift is treated as one shorter than 8 h, no week as one below 40 h.
	for _, h := range []float64{0.1, 4, 8} {
		require.Equal(t, 1.0, daily(h))
		require.Equal(t, 1.0, weekly(5*h))
	}
	last := 1.0
	for h := 8.5; h < 24; h += 0.5 {
		require.Less(t, daily(h), last)
		last = daily(h)
	}
	for _, h := range []float64{0, -1, 24, 30} {
		_, err := BriefScalaDaily(h)
		require.Error(t, err)
	}
	_, err := BriefScalaWeekly(168)
	require.Error(t, err)
}

// Twelve hours at 0.6 mg/m³ against 1 mg/m³: the 8-h TWA of 0.9 mg/m³ is 90 % of
// the limit, but the average of 0.6 mg/m³ is above half of it, which Brief and
// Scala leave for 12 h.
func TestLongShift(t *testing.T) {
	day := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(12), 600, 0})
	assess := func(rule ShiftAdjustment, id string) (ShiftResult, Result) {
		r := mustAssess(t, Input{Shifts: []dust.Shift{shiftOf(hours(12))}, Series: []*dust.Series{day}, Limit: mustLimit(t, id), DeclaredShift: true, LongShifts: rule})
		return r.Shifts[0], r
	}
	plain, r := assess(NoAdjustment, "us-acgih-other")
	require.InDelta(t, 0.9, *plain.ShareOfLimit, 1e-9)
	require.Equal(t, CannotTell, plain.Finding)
	require.Nil(t, plain.Limits[0].Adjusted)
	require.Contains(t, words.Strings(r.Warnings), `the longest shift is 12 h: its dose is divided by 8 h all the same; some rules lower the limit further for the shorter rest (shop.long_shifts = "brief_scala")`)

	lowered, _ := assess(BriefScala, "us-acgih-other")
	require.InDelta(t, 1.2, *lowered.ShareOfLimit, 1e-9)
	require.Equal(t, Over, lowered.Finding)
	a := lowered.Limits[0].Adjusted
	require.InDelta(t, 0.5, a.LimitMgM3, 1e-12)
	require.InDelta(t, 0.6, *a.MeanMgM3, 1e-9)
	require.InDelta(t, 720, lowered.ComparedOverMinutes, 1e-9)
	require.Contains(t, lowered.Why.String(), "limit lowered from 1 to 0.5 mg/m³ for 12 h a day and 12 h a week (Brief and Scala)")

	for id, why := range map[string]string{"us-niosh-rel": "up to 10 h", "de-hard-st": "no 8-h limit", "nz-soft": "shifts of 12 h"} {
		kept, r := assess(BriefScala, id)
		require.Nil(t, kept.Limits[0].Adjusted, id)
		found := false
		for _, w := range r.Warnings {
			found = found || contains(w.String(), why)
		}
		require.True(t, found, "%s: %v", id, r.Warnings)
	}
}

// Six days of 8 h: no shift is long, but the week of 48 h leaves 40/48 · 120/128.
func TestLongWeek(t *testing.T) {
	var shifts []dust.Shift
	s := dust.NewSeries(dust.Sensor{Name: "collar", Model: "sps30", Position: dust.BreathingZone}, dust.PM25)
	for d := range 7 { // Monday to Saturday, and the next Monday
		begin := start.AddDate(0, 0, d+d/6)
		shifts = append(shifts, dust.Shift{Date: begin.Format(time.DateOnly), Start: begin, End: begin.Add(hours(8))})
		for sec := 0; sec < 8*3600; sec += 5 {
			require.NoError(t, s.Append(begin.Add(time.Duration(sec)*time.Second), 100, 0))
		}
	}
	r := mustAssess(t, Input{Shifts: shifts, Series: []*dust.Series{s}, Limit: mustLimit(t, "us-acgih-other"), DeclaredShift: true, LongShifts: BriefScala})
	for i, shift := range r.Shifts {
		a := shift.Limits[0].Adjusted
		if i == 6 {
			require.Nil(t, a)
			continue
		}
		require.InDelta(t, 48, a.WeekHours, 1e-9)
		require.InDelta(t, 40.0/48*120/128, a.Factor, 1e-12)
		require.Equal(t, 1.0, a.DailyFactor)
	}
}
