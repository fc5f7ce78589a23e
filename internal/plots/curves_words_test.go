package plots

import (
	"bytes"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/airflow"
	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/efficiency"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

func TestAltTextsOfCurves(t *testing.T) {
	falls := madeUpFalls(50)
	d := falls.Falls[0]
	d.PerHour, d.Low, d.High, d.HalfLifeMinutes, d.Background, d.Minutes, d.Upper = ptr(4), ptr(3.5), ptr(4.6), ptr(10.4), ptr(12), ptr(27.6), ptr(31)
	falls.Falls = []Fall{d}
	require.Equal(t, "How PM2.5 falls at shelf once the source is off. window shut, after sawing, 2026-03-02 08:37: "+
		"Clears 4 times an hour (95 % interval 3.5 to 4.6); half of it gone in 10.4 min; goes to 12 µg/m³ (fitted); at 50 µg/m³ after 27.6 min, 31 at most.", AltTextClearance(falls, Options{}))
	falls.Falls[0].Upper = nil
	require.Contains(t, AltTextClearance(falls, Options{}), "no upper bound")
	falls.Falls[0].Minutes = nil
	require.Contains(t, AltTextClearance(falls, Options{}), "when it is at 50 µg/m³ cannot be told")
	falls.Falls[0].State, falls.Falls[0].Why = clearance.CannotTell, words.Literal("3 means of 20 s")
	require.Contains(t, AltTextClearance(falls, Options{}), "cannot tell: 3 means of 20 s")

	require.Contains(t, AltTextProbability(madeUpGroups(), Options{}), "Hose on blower, sensor bench-1: 7 shifts; geometric mean 0.476 mg/m³")
	require.Contains(t, AltTextSideBySide(madeUpSideBySide(), Options{}), "shelf against bench-1: Reads 1.")
	require.Contains(t, AltTextFactorScatter(usualFactor(), Options{}), "5 pairs of filter and sensor")
	require.Contains(t, AltTextLoading(madeUpLoading(), Options{}), "9 runs over 13 h; changes by −69.9 % in 10 h (95 % interval −77.7 to −59.3). First run")
	week := AltTextWeek(madeUpQuarters(2, 0.6), Options{Zone: zone})
	require.Contains(t, week, "Limit 0.3 mg/m³ (mean over 8 h)")
	require.Contains(t, week, "2 Mar 680 at 10:00")
	require.Contains(t, AltTextMonths(madeUpMonths(2, time.Minute), Options{Zone: zone}), "shelf: 2880 readings, 10 of them left out")
	require.Empty(t, AltTextWeek(WeekData{}, Options{}))
	require.Empty(t, AltTextMonths(nil, Options{}))
}

// What is drawn can be had as a table, missing numbers as empty cells.
func TestCSVOfCurves(t *testing.T) {
	var b bytes.Buffer
	falls := madeUpFalls(50)
	require.NoError(t, CSVClearance(&b, falls))
	rows := rowsOf(t, &b)
	require.Equal(t, []string{"what", "setup", "after", "record_start", "minutes", "value", "unit"}, rows[0])
	count := map[string]int{}
	for _, r := range rows[1:] {
		count[r[0]]++
		require.Equal(t, "µg/m³", r[6])
	}
	require.Equal(t, 2, count["level"])
	require.Equal(t, 2, count["background"])
	require.Equal(t, 2*121, count["fitted"])
	require.Greater(t, count["mean_20s"], 300)

	b.Reset()
	require.NoError(t, CSVProbability(&b, madeUpGroups()))
	rows = rowsOf(t, &b)
	require.Len(t, rows, 1+7+6+6+6)
	require.Equal(t, []string{"shift", "bench-1", "hose on blower", "2026-03-04", "0.33", "mg/m³", "false"}, rows[1][:7]) // the lowest comes first

	b.Reset()
	require.NoError(t, CSVSideBySide(&b, madeUpSideBySide()))
	require.Len(t, rowsOf(t, &b), 1+2*(180+2))

	b.Reset()
	require.NoError(t, CSVFactorScatter(&b, usualFactor()))
	rows = rowsOf(t, &b)
	require.Equal(t, []string{"sample", "3", "0.2", "0.52", "measured", "2.6"}, rows[1])
	require.Equal(t, []string{"sample", "8", "0.04", "0.11", "at most", ""}, rows[6])

	b.Reset()
	require.NoError(t, CSVLoading(&b, madeUpLoading()))
	rows = rowsOf(t, &b)
	require.Len(t, rows, 1+2*(9+2))
	require.Equal(t, []string{"run", "new cartridge", "0.5–1 µm", "2026-03-02", "sawing", "0.5"}, rows[1][:6])

	b.Reset()
	require.NoError(t, CSVWeek(&b, madeUpQuarters(1, 0.6), Options{Zone: zone}))
	rows = rowsOf(t, &b)
	require.Equal(t, []string{"mean_15min", "2026-03-02T08:00:00.000+01:00", "2026-03-02T08:15:00.000+01:00"}, rows[1][:3])
	require.Len(t, rows, 1+34+1)

	b.Reset()
	e := NewEnvelope(dust.Sensor{Name: "x"}, dust.PM25, day, day.Add(time.Duration(stripCount)*time.Second))
	require.NoError(t, e.Add(exposure.Columns{MS: []int64{day.UnixMilli(), day.UnixMilli() + 200, day.UnixMilli() + 1000}, Floats: []float64{3, 9, 4}, Flags: make([]dust.Flags, 3)}))
	require.NoError(t, CSVMonths(&b, []*Envelope{e}, Options{Zone: zone}))
	rows = rowsOf(t, &b)
	require.Equal(t, []string{"x", "2026-03-02T08:00:00.000+01:00", "2026-03-02T08:00:01.000+01:00", "2", "0", "3", "3", "9", "9", "µg/m³", "no"}, rows[1])
	require.Equal(t, []string{"0", "0", "", "", "", ""}, rows[3][3:9])
}

func TestNoCurveToDraw(t *testing.T) {
	for name, err := range map[string]error{
		"no fall":        Clearance(io.Discard, ClearanceData{}, Options{}),
		"no group":       Probability(io.Discard, nil, Options{}),
		"no shift":       Probability(io.Discard, make([]exposure.GroupResult, 2), Options{}),
		"no means":       SideBySide(io.Discard, SideBySideData{}, Options{}),
		"no sample":      FactorScatter(io.Discard, FactorData{}, Options{}),
		"no blower":      FanAndSystem(io.Discard, airflow.Result{}, Options{}),
		"no drop":        FilterDrop(io.Discard, airflow.Result{}, Options{}),
		"no flow":        DustOnFlow(io.Discard, airflow.Result{}, Options{}),
		"no loading":     Loading(io.Discard, efficiency.Result{}, Options{}),
		"no quarter":     Week(io.Discard, WeekData{}, Options{}),
		"empty envelope": Months(io.Discard, []*Envelope{NewEnvelope(dust.Sensor{}, dust.PM25, day, day.Add(time.Hour))}, Options{}),
	} {
		require.ErrorIs(t, err, dust.ErrNoReadings, name)
	}
	require.ErrorContains(t, Week(io.Discard, madeUpQuarters(100, 1), Options{Zone: zone}), "100 days are too many")
}

// The clocks of Europe go forward on 29 March 2026: the day has 23 hours, and its
// quarters stand at their clock times.
func TestWeekOverAChangeOfTheClocks(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	d := WeekData{Sensor: dust.Sensor{Name: "x"}, Channel: dust.PM25, From: time.Date(2026, 3, 29, 0, 0, 0, 0, berlin), To: time.Date(2026, 3, 30, 0, 0, 0, 0, berlin)}
	for at := d.From.Add(quarter); !at.After(d.To); at = at.Add(quarter) {
		d.Means = append(d.Means, exposure.MeanPoint{At: at, MgM3: 0.01})
	}
	require.Len(t, d.Means, 23*4)
	o, err := Options{Zone: berlin}.complete()
	require.NoError(t, err)
	w := newWeek(d, o)
	require.Len(t, w.days, 1)
	require.Len(t, w.days[0].bars, 23*4)
	require.InDelta(t, 1.75, w.days[0].bars[7].hour, 1e-9)
	require.InDelta(t, 3, w.days[0].bars[8].hour, 1e-9)
}
