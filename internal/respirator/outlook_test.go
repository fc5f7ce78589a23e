package respirator

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// 29 CFR 1910.1000(d)(1)(i) has 2 h at 150 ppm, 2 h at 75 and 4 h at 50 come to
// 81.25 ppm over 8 h. After the first four hours that is 56.25; each further hour at
// 50 adds 6.25.
func TestOutlookAddsUpToThePublishedTWA(t *testing.T) {
	shift := exposure.ShiftResult{Date: "2026-03-02", Start: monday, End: monday.Add(8 * time.Hour), Sensor: "bench",
		MinutesMeasured: 240, MeasuredMean: f64(112.5),
		Limits: []exposure.LimitFinding{{LimitID: "z", LimitMgM3: 100, Averaging: exposure.EightHours, ComparedOverMinutes: 480, ComparedMgM3: f64(56.25), Bearing: exposure.Applies}}}
	mask := exposure.MaskResult{Task: "sawing", Runs: 3, Limits: []exposure.MaskLimit{{LimitID: "z", LowestMgM3: f64(40), TypicalMgM3: f64(50), HighestMgM3: f64(80), AtLeast: true}}}
	for hour := range 4 {
		o := Ahead(shift, &mask, monday.Add(4*time.Hour))
		l := o.Limits[0]
		require.InDelta(t, 56.25+6.25*float64(hour+1), *l.TypicalMgM3, 1e-9)
		require.InDelta(t, (56.25+6.25*float64(hour)+5)/100, *l.LowShare, 1e-9)
		require.InDelta(t, (56.25+6.25*float64(hour)+10)/100, *l.HighShare, 1e-9)
		require.True(t, l.AtLeast)
		shift.Limits[0].ComparedMgM3 = l.TypicalMgM3
	}
	require.InDelta(t, 81.25, *shift.Limits[0].ComparedMgM3, 1e-9)
	o := Ahead(shift, &mask, monday.Add(4*time.Hour))
	require.InDelta(t, 240, o.MinutesSoFar, 1e-9)
	require.InDelta(t, 112.5*240, *o.DoseMgMinM3, 1e-9)
	require.Contains(t, o.Sentence(o.Limits[0]).String(), "at least")
}

func TestOutlookLeavesOutWhatItCannotAnswer(t *testing.T) {
	shift := exposure.ShiftResult{Start: monday, End: monday.Add(8 * time.Hour), Limits: []exposure.LimitFinding{
		{LimitID: "short", Averaging: exposure.FifteenMinutes, ComparedOverMinutes: 15, ComparedMgM3: f64(1), LimitMgM3: 1},
		{LimitID: "soft", Averaging: exposure.EightHours, ComparedOverMinutes: 480, Bearing: exposure.DoesNotApply, ComparedMgM3: f64(1), LimitMgM3: 1},
		{LimitID: "none", Averaging: exposure.EightHours, ComparedOverMinutes: 480, LimitMgM3: 1},
		{LimitID: "factor", Averaging: exposure.EightHours, ComparedOverMinutes: 600, ComparedMgM3: f64(0.1), WithFactor: f64(0.3), LimitMgM3: 2,
			Adjusted: &exposure.Adjusted{LimitMgM3: 1.5}},
	}}
	o := Ahead(shift, nil, monday.Add(9*time.Hour))
	require.Len(t, o.Limits, 2)
	require.Nil(t, o.Limits[0].SoFarMgM3)
	require.Contains(t, o.Sentence(o.Limits[0]).String(), "nothing measured")
	require.False(t, o.Limits[1].AtLeast)
	require.InDelta(t, 0.2, *o.Limits[1].SoFarShare, 1e-12, "0.3 of the lowered 1.5")
	require.Nil(t, o.Limits[1].HighMgM3)
	require.InDelta(t, 480, o.MinutesSoFar, 1e-9, "the shift is over")
}

// A replay of what was recorded ends in the answer that was given live.
func TestReplayIsLikeLive(t *testing.T) {
	s := newShop(t)
	series := dust.NewSeries(bench, dust.PM25)
	keep := func(d time.Duration) {
		for range int(d / time.Second) {
			s.run(time.Second)
			require.NoError(t, series.Append(s.at().Wall, s.level, s.flags))
		}
	}
	setups := []dust.SetupPeriod{{Setup: "hood", From: monday.Add(-time.Hour)}}
	replayed := func() Status {
		m := NewMachine(Rules{}, Watch([]dust.Sensor{bench}, false), Instant{Wall: monday})
		m.Learn(knownFacts(), nil)
		return Replay(m, []*dust.Series{series}, s.tasks, setups, monday, s.at().Wall)
	}
	keep(3 * time.Minute)
	require.Equal(t, s.last.State, replayed().State)
	s.start("sanding", "oak")
	s.level = 400
	keep(3 * time.Minute)
	require.Equal(t, AtWork, replayed().Cause)
	s.stop()
	s.level = 60
	keep(10 * time.Minute)
	again := replayed()
	require.Equal(t, s.last.State, again.State)
	require.Equal(t, s.last.Cause, again.Cause)
	require.WithinDuration(t, *s.last.KeepOnUntil, *again.KeepOnUntil, 10*time.Second)
	s.mute = true
	s.run(time.Minute)
	require.Equal(t, NoData, replayed().Cause)
}
