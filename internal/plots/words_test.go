package plots

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// textOf joins all that is written in a picture.
func textOf(t *testing.T, d TraceData, o Options) string {
	t.Helper()
	var lines []string
	for _, text := range recordTrace(t, d, o).texts {
		lines = append(lines, text.text)
	}
	return strings.Join(lines, " ")
}

// A limit far above the readings must not press them flat: it is named at the
// upper edge. One in reach is drawn as a line.
func TestLimitInReachOrNamedAbove(t *testing.T) {
	d := TraceData{Series: seriesOf(dust.PM25, time.Second, 20, 80, 40), LimitMgM3: 5, LimitLabel: words.Literal("limit"), LimitAveraging: "8 h"}
	far := textOf(t, d, Options{})
	require.Contains(t, far, "↑ limit 5 mg/m³ (mean over 8 h) is above this plot")
	o, err := Options{}.complete()
	require.NoError(t, err)
	tr, err := newTrace(d, o)
	require.NoError(t, err)
	y := plot.New().Y
	tr.setLevels(&y)
	require.InDelta(t, 80, y.Max, 20)
	tr.o.LogY = true
	tr.setLevels(&y)
	require.InDelta(t, 80, y.Max, 20)

	d.LimitMgM3 = 0.1
	near := textOf(t, d, Options{})
	require.NotContains(t, near, "above this plot")
	require.Contains(t, near, "limit 0.1 mg/m³ (mean over 8 h)")
}

// A label that already says its value is not given another.
func TestLimitLabelWithItsOwnValue(t *testing.T) {
	d := TraceData{Series: seriesOf(dust.PM25, time.Second, 20, 80), LimitMgM3: 0.1, LimitLabel: words.Literal("body 0.1 mg/m3 respirable, 8-h TWA (id)"), LimitAveraging: "8 h"}
	require.Contains(t, textOf(t, d, Options{}), "body 0.1 mg/m3 respirable, 8-h TWA (id)")
	require.NotContains(t, textOf(t, d, Options{}), "(mean over")
	d.LimitLabel, d.LimitAveraging = words.Literal("guideline"), "annual"
	require.Contains(t, textOf(t, d, Options{}), "guideline 0.1 mg/m³ (annual mean)")
}

func TestTraceSaysUnitZoneSensorAndFinding(t *testing.T) {
	d := shortShift()
	d.Shift.SaturatedShare = 0.02
	words := textOf(t, d, Options{Zone: zone})
	for _, want := range []string{
		"PM2.5 by optical sensor, µg/m³", "Clock time, CET, UTC+1", "Sensor bench-1 (PMS5003), position: breathing zone",
		"mean over the 15 minutes before", "Measured 24 of 30 minutes", "Against the limit: cannot tell", "warm up 2 min",
		"For 2 % of the measured time the sensor was at its top: the truth is higher", "08:00", "sawing, oak",
	} {
		require.Contains(t, words, want)
	}
	require.NotRegexp(t, "(?i)\\bsafe\\b|complian", words)
}

// From 10 000 µg/m³ on the axis is in mg/m³.
func TestLargeMassesAreInMilligrams(t *testing.T) {
	words := textOf(t, TraceData{Series: seriesOf(dust.PM25, time.Second, 20, 20000)}, Options{})
	require.Contains(t, words, "PM2.5 by optical sensor, mg/m³")
	require.Contains(t, words, "20 ")
}

// A mass limit has no place on an axis of counts.
func TestNoLimitOnCounts(t *testing.T) {
	words := textOf(t, TraceData{Series: seriesOf(dust.N03, time.Second, 20, 30), LimitMgM3: 5}, Options{})
	require.NotContains(t, words, "limit")
	require.Contains(t, words, "Particles > 0.3 µm by optical sensor, 1/cm³")
}

func TestLogAxisSaysWhatItCuts(t *testing.T) {
	zero := TraceData{Series: seriesOf(dust.PM25, time.Second, 0, 20, 300, 0, 5)}
	words := textOf(t, zero, Options{LogY: true})
	require.Contains(t, words, "Readings below 1 µg/m³ are drawn at the lower edge")
	require.Contains(t, words, "logarithmic axis")
	require.NotContains(t, textOf(t, zero, Options{}), "lower edge")
}

func TestAltTexts(t *testing.T) {
	r := madeUpComparison()
	require.Equal(t, "PM2.5 in 6 sessions under hose on blower (before) and 7 sessions under separator and fine filter (after): geometric means 210 and 88 µg/m³. "+
		"Ratio after to before 0.42, 95 % interval 0.29 to 0.61: reduced enough.", AltTextBeforeAfter(r, Options{}))
	require.Contains(t, AltTextSizeRatio(r, Options{}), "PM1: 0.55 (0.41–0.74)")
	require.Contains(t, AltTextSizeDistribution(r, Options{}), "PM1: 120 before, 66 after µg/m³")
	require.Contains(t, AltTextTaskDose(madeUpDoses(), Options{}), "2 Mar mostly sanding (42 %)")
	d := shortShift()
	require.Equal(t, "PM2.5 at bench-1 from 2026-03-02 08:00 to 08:30 (CET, UTC+1): readings from 10 to 410 µg/m³. "+
		"Limit for <quartz> & co 0.3 mg/m³ (mean over 8 h) lies below the highest reading, finding: cannot tell; 2 stretches of work are marked.", AltTextShiftTrace(d, Options{Zone: zone}))
	require.Empty(t, AltTextShiftTrace(TraceData{}, Options{}))
	r.Ratio, r.Verdict = nil, compare.TooLittleData
	require.Contains(t, AltTextBeforeAfter(r, Options{}), "No ratio: too little data.")
}

func rowsOf(t *testing.T, b *bytes.Buffer) [][]string {
	t.Helper()
	rows, err := csv.NewReader(b).ReadAll()
	require.NoError(t, err)
	return rows
}

func TestCSV(t *testing.T) {
	var b bytes.Buffer
	d := shortShift()
	require.NoError(t, CSVShiftTrace(&b, d, Options{Zone: zone}))
	rows := rowsOf(t, &b)
	require.Equal(t, []string{"what", "time", "until", "value", "unit", "flags", "used", "name"}, rows[0])
	require.Equal(t, []string{"reading", "2026-03-02T08:00:00.000+01:00", "2026-03-02T08:00:05.000+01:00", "60", "µg/m³", "warm_up", "no", "bench-1"}, rows[1])
	require.Len(t, rows, 1+d.Series.Len()+len(d.Mean15)+len(d.Tasks)+1)

	b.Reset()
	require.NoError(t, CSVBeforeAfter(&b, madeUpComparison()))
	rows = rowsOf(t, &b)
	require.Len(t, rows, 1+13+3)
	require.Equal(t, []string{"ratio_after_before", "", "", "0.42", "0.29", "0.61", "1", ""}, rows[16])

	b.Reset()
	none := compare.Result{Bins: []compare.Effect{{Metric: "pm1_ug_m3", Label: words.Literal("PM1"), Unit: "µg/m³", Note: words.Literal("a, \"b\"")}}}
	require.NoError(t, CSVSizeRatio(&b, none))
	require.Equal(t, []string{"pm1_ug_m3", "PM1", "", "", "", "a, \"b\""}, rowsOf(t, &b)[1])
	b.Reset()
	require.NoError(t, CSVSizeDistribution(&b, none))
	require.Equal(t, []string{"pm1_ug_m3", "PM1", "", "", "µg/m³", "a, \"b\""}, rowsOf(t, &b)[1])

	b.Reset()
	require.NoError(t, CSVTaskDose(&b, exposure.Result{Shifts: []exposure.ShiftResult{{Date: "2026-03-02", Sensor: "x", TaskDoseShares: []exposure.TaskDose{{Task: "", Minutes: 3, Share: 1}}}}}))
	require.Equal(t, []string{"2026-03-02", "x", "", "3", "1"}, rowsOf(t, &b)[1])
}
