package report

import (
	"bytes"
	"encoding/json"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/airflow"
	"dustlog/internal/calibrate"
	"dustlog/internal/clearance"
	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

var monday = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

func of(x float64) *float64 { return &x }

// wholeReport is a made-up report with something in every part.
func wholeReport(t *testing.T) Input {
	t.Helper()
	sensor := dust.Sensor{Name: "bench", Model: "sps30", Position: dust.BreathingZone}
	s := dust.NewSeries(sensor, dust.PM25)
	var tasks []dust.Task
	hour := func(h float64) time.Time { return monday.Add(time.Duration(h * float64(time.Hour))) }
	for d := range 3 {
		for _, h := range []float64{0.2, 3} {
			tasks = append(tasks, dust.Task{Name: "sawing", Material: "oak", Start: hour(24*float64(d) + h), Stop: hour(24*float64(d) + h + 1)})
		}
		level := 12.0
		for sec := 0; sec < 8*3600; sec += 5 {
			at := hour(24 * float64(d)).Add(time.Duration(sec) * time.Second)
			source := 0.0
			for _, k := range tasks {
				if !at.Before(k.Start) && at.Before(k.Stop) {
					source = 300
				}
			}
			level += (12 + source - level) * (1 - math.Exp(-5*5.0/3600))
			require.NoError(t, s.Append(at, level*(1+0.05*math.Sin(float64(sec))), 0))
		}
	}
	limit, err := exposure.ChooseLimit("us-acgih-other")
	require.NoError(t, err)
	setups := []dust.SetupPeriod{{Setup: "old", From: monday.Add(-time.Hour)}}
	shifts := []dust.Shift{}
	for d := range 3 {
		start := hour(24 * float64(d))
		shifts = append(shifts, dust.Shift{Date: start.Format(time.DateOnly), Start: start, End: start.Add(8 * time.Hour)})
	}
	r, err := exposure.Assess(exposure.Input{Series: []*dust.Series{s}, Tasks: tasks, Setups: setups, Shifts: shifts, Limit: limit, DeclaredShift: true})
	require.NoError(t, err)
	trace := clearance.NewTrace(sensor, dust.PM25)
	trace.Add(s)
	cleared, err := clearance.Analyse(clearance.Input{Trace: trace, Tasks: tasks, Setups: setups})
	require.NoError(t, err)
	require.NotEmpty(t, cleared.Setups)
	cmp := compare.Result{Before: "old", After: "new", UnitOfReplication: "session", NBefore: 1, NAfter: 1, Confidence: 0.95, MeanKind: compare.GeometricMean, Unit: "µg/m³",
		Metric: "pm2_5", Sensor: "bench", GMBefore: of(210), GMAfter: of(88), Ratio: of(0.42), CILow: of(0.3), CIHigh: of(0.6), PValue: of(0.01), PermutationP: of(0.02), Method: words.Literal("method M"), Verdict: compare.ReducedEnough, Background: compare.Background{Kind: words.Literal("constant")},
		Sessions: []compare.Session{{Date: "2026-03-02", Setup: "old", Start: monday, End: hour(4), Adjusted: of(210), Runs: 2}, {Date: "2026-03-03", Setup: "new", Start: hour(24), End: hour(28), Adjusted: of(88), Runs: 2}},
		Bins:     []compare.Effect{{Metric: "pm1_ug_m3", Label: words.Literal("PM1"), Unit: "µg/m³", Before: of(100), After: of(50), Ratio: of(0.5)}}}
	fall := study.ClearedFall{Decay: cleared.Decays[0], Back: of(24)}
	return Input{Shop: "Shop", Zone: time.UTC, From: monday, To: hour(56), Generated: monday, Version: "test", Exposure: r, Compare: &cmp,
		Sensors: []Sensor{{Sensor: sensor, Title: "SPS30"}},
		Airflow: collector(t, setups),
		Cleared: []study.Cleared{{Result: cleared, Trace: trace, Falls: []study.ClearedFall{fall}}},
		Respirator: &study.PastRespirator{Setup: "old", Method: words.Literal("how"), Tasks: []study.RespiratorTask{{MaskResult: r.Masks[0]}},
			Clearing: []study.RespiratorClearing{{Sensor: "bench", Setup: "old", InUse: true, Minutes: of(20), MinutesUpper: of(33)}}},
		Calibrations: []dust.Calibration{zeroCheck(t), {ID: 2, Kind: dust.FactorCalibration, Sensor: "bench", Made: monday, From: monday, To: monday, Retired: monday, RetiredWhy: "wrong filter", Numbers: "x"}},
	}
}

// collector is an invented dust collector with all gauges read once.
func collector(t *testing.T, setups []dust.SetupPeriod) *airflow.Result {
	t.Helper()
	in := airflow.Input{Setups: setups, Collectors: []airflow.Collector{{
		Setup: "old", Room: 120, Ducts: []airflow.DuctRecord{{Name: "main", Diameter: units.Inches(6)}}, Filter: airflow.FilterRecord{Limit: 900, Area: 9},
		Hood:    &airflow.HoodRecord{Duct: "main", Width: 0.2, Height: 0.15, Distance: 0.2},
		Blowers: []airflow.Blower{{RatedFlow: units.CFM(1500), RatedCurrent: 9, Curve: []airflow.FanPoint{{Static: 2500}, {Flow: units.CFM(1500)}}}},
	}}}
	for i, text := range [][2]string{{"velocity-pressure", "190 200 210 Pa"}, {"static-pressure", "1500 Pa"}, {"filter-drop", "450 Pa"}, {"current", "9.4 A"}} {
		in.Entries = append(in.Entries, dust.Entered{Entry: dust.Entry{ID: text[0], Kind: dust.GaugeEntry, At: monday.Add(time.Duration(i) * time.Minute), Name: text[0], Text: text[1]}})
	}
	r, err := airflow.Analyse(in)
	require.NoError(t, err)
	require.NotEmpty(t, r.Stops, "the current is above the plate's")
	return &r
}

func zeroCheck(t *testing.T) dust.Calibration {
	t.Helper()
	numbers, err := json.Marshal(calibrate.ZeroCheck{Metric: "pm2_5", Readings: 900, Mean: 1.5, Floor: 4.5, Enough: true})
	require.NoError(t, err)
	return dust.Calibration{ID: 1, Kind: dust.ZeroCalibration, Sensor: "bench", Made: monday, From: monday, To: monday.Add(time.Hour), Metric: "pm2_5", Numbers: string(numbers)}
}

// Every ID that the report shows can be asked about, in both its forms, and what is
// explained names its formula and source.
func TestEveryIDShownIsExplained(t *testing.T) {
	in := wholeReport(t)
	known := map[string]bool{}
	for _, e := range Explanations(in) {
		require.False(t, known[e.ID], "%s twice", e.ID)
		known[e.ID] = true
		require.NotEmpty(t, e.Formula, e.ID)
		require.NotEmpty(t, e.Source, e.ID)
		require.NotEmpty(t, e.Label, e.ID)
	}
	v, err := buildView(in)
	require.NoError(t, err)
	asked := 0
	for _, g := range append(append(v.Clearance.Tables, v.Respirators.Tables...), v.Falls) {
		for _, row := range g.Rows {
			require.Len(t, row.Cells, len(g.Columns), g.Caption)
			for _, c := range g.Columns {
				if row.ID != "" && c.Key != "" {
					asked++
					require.True(t, known[row.ID+"/"+c.Key], row.ID+"/"+c.Key)
				}
			}
		}
	}
	require.Greater(t, asked, 30)

	var page bytes.Buffer
	require.NoError(t, WriteHTML(&page, in))
	ids := regexp.MustCompile(`<small class="id">([^<]+)</small>`).FindAllStringSubmatch(page.String(), -1)
	require.Greater(t, len(ids), 30)
	for _, m := range ids {
		for id := range strings.SplitSeq(m[1], ", ") {
			require.True(t, known[id] || isPartOf(id, known), "%q is of no number", id)
		}
	}
	for _, id := range []string{"compare/before", "compare/ratio", "compare/size/pm1_ug_m3/ratio", "session/2026-03-02T08:00/mean", "2026-03-02/bench/twa_8h", "group/bench/old/p95"} {
		require.True(t, known[id], id)
	}
}

// isPartOf reports whether an ID is that of a row or of a column of some number.
func isPartOf(id string, known map[string]bool) bool {
	for k := range known {
		if strings.HasPrefix(k, id+"/") || strings.HasSuffix(k, "/"+id) {
			return true
		}
	}
	return false
}

func TestExplainNamesWhatIsAlike(t *testing.T) {
	all := Explanations(wholeReport(t))
	e, err := Explain(all, "compare/ratio")
	require.NoError(t, err)
	require.InDelta(t, 0.42, *e.Value, 1e-9)
	require.Equal(t, "method M", e.Source)
	_, err = Explain(all, "compare/ratios")
	require.ErrorIs(t, err, ErrNoResult)
	require.ErrorContains(t, err, "compare/before")
	_, err = Explain(all, "nonsense")
	require.ErrorContains(t, err, "`dustlog explain` lists all")
}

// The parts say what they must, on screen.
func TestPartsOfTheReport(t *testing.T) {
	in := wholeReport(t)
	var page bytes.Buffer
	require.NoError(t, WriteHTML(&page, in))
	for _, want := range []string{
		"What to do next", "and keep it on for 33 minutes after", "Work on the capture of sawing first: it brought the largest part of the measured dose in 3 of 3 shifts",
		"How fast the air clears after work", "Minutes from the end of the dustiest work seen",
		"zero check in filtered air", "offset 1.5 µg/m³, floor 4.5 µg/m³, from 900 readings", "retired 2026-03-02: wrong filter", "its numbers cannot be read",
		"Limits used, and their status", "recommendation", "not stated, so not in the interval", "All falls of the dust after work",
		"Every number can be traced", "settle",
	} {
		require.True(t, strings.Contains(page.String(), want), want)
	}
	in.Respirator.Clearing[0].MinutesUpper = nil
	page.Reset()
	require.NoError(t, WriteHTML(&page, in))
	require.True(t, strings.Contains(page.String(), "how long after is not known"), "no upper bound, no number")
	in.Calibrations, in.Cleared, in.Respirator = nil, nil, nil
	page.Reset()
	require.NoError(t, WriteHTML(&page, in))
	require.True(t, strings.Contains(page.String(), "None on record. Every number is the sensor’s own reading"))
	require.True(t, strings.Contains(page.String(), "Not told: no sensor where someone breathes"))
}

func TestNumbersHaveThreeDigitsAndNoExponent(t *testing.T) {
	for x, want := range map[float64]string{4628.4: "4628", 0.000123456: "0.000123", 12: "12", 0.5: "0.5", -3.14159: "-3.14", 99.96: "100", 1e7: "10000000"} {
		require.Equal(t, words.Number(want), sig(&x))
	}
	require.Equal(t, words.Number("–"), sig(nil))
	require.Equal(t, words.Number("< 0.001"), pText(of(7e-20)))
	require.Equal(t, words.Number("0.001"), pText(of(0.00107)))
}

// A run seen by two sensors is one run of the diary.
func TestTheChecklistCountsRunsOnce(t *testing.T) {
	in := wholeReport(t)
	in.Exposure.Tasks = append(in.Exposure.Tasks, in.Exposure.Tasks...)
	for _, c := range Checklist(in) {
		if c.Item.String() == "Tasks, and when" {
			require.Contains(t, c.Note.String(), "6 runs in the diary")
			return
		}
	}
	t.Fatal("the item is missing")
}

// Names as long as people make them, and letters of many scripts, break no part, on
// screen or on paper; nor does a report with nothing in it but its shifts.
func TestLongNamesAndNothingAtAll(t *testing.T) {
	long := strings.Repeat("Zyklon mit Feinstaubfilter, обе стороны, 仕上げ 🪵 ", 6)
	in := wholeReport(t)
	in.Shop, in.Compare.Before, in.Compare.After = long, long, long+"2"
	for i := range in.Compare.Sessions {
		in.Compare.Sessions[i].Setup, in.Compare.Sessions[i].Tasks = long, []string{long, long}
	}
	c := &in.Cleared[0]
	c.Sensor = long
	for i := range c.Setups {
		c.Setups[i].Setup, c.Setups[i].Why = long, words.Literal(strings.Repeat(long, 20))
	}
	for i := range c.Decays {
		c.Decays[i].Setup, c.Decays[i].After, c.Decays[i].Why = long, long, words.Literal(long)
	}
	in.Respirator.Tasks[0].Task = long
	require.NoError(t, in.Respirator.Tasks[0].Why.UnmarshalText([]byte(strings.Repeat(long, 20))))
	in.Calibrations[0].Note, in.Calibrations[0].Sensor = strings.Repeat(long, 10), long
	var out bytes.Buffer
	require.NoError(t, WriteHTML(&out, in))
	require.NoError(t, WritePDF(&out, in))

	bare := Input{Zone: time.UTC, From: monday, To: monday.Add(time.Hour), Generated: monday, Exposure: exposure.Result{Metric: "pm2_5"}}
	require.NoError(t, WriteHTML(&out, bare))
	require.NoError(t, WritePDF(&out, bare))
	require.Empty(t, Explanations(bare))
}
