package exposure

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// maskOf asks about a task run n times for half an hour, an hour apart.
func maskOf(t *testing.T, limit, name, material string, level float64, n int, change ...func(*Input)) MaskResult {
	t.Helper()
	in := Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{steadyDay(t, dust.BreathingZone, dust.PM25, level)},
		Limit: mustLimit(t, limit), DeclaredShift: true}
	for i := range n {
		in.Tasks = append(in.Tasks, dust.Task{Name: name, Material: material, Start: at(hours(float64(i))), Stop: at(hours(float64(i) + 0.5))})
	}
	for _, c := range change {
		c(&in)
	}
	r := mustAssess(t, in)
	require.Len(t, r.Masks, 1)
	require.NotEmpty(t, r.Masks[0].Why)
	return r.Masks[0]
}

// The hazard ratio is concentration over limit (BS EN 529, 29 CFR 1910.134(d)):
// 14 mg/m³ against 3 gives 4.67.
func TestHazardRatio(t *testing.T) {
	m := maskOf(t, "uk-hard", "assembly", "oak", 14000, 1)
	require.InDelta(t, 14, *m.HighestMeanMgM3, 1e-9)
	require.InDelta(t, 4.667, *m.HazardRatioAtLeast, 0.0005)
	require.Equal(t, KeepOn, m.State)
	require.Equal(t, 1, m.Runs)
}

func TestMaskStates(t *testing.T) {
	factor := withFactor(respirableFactor)
	unspread := respirableFactor
	unspread.SpreadPercent = 0
	inhalable := respirableFactor
	inhalable.Fraction = InhalableFraction
	for _, c := range []struct {
		name, limit, task, material string
		level                       float64
		n                           int
		change                      func(*Input)
		want                        MaskState
		why                         string
	}{
		{"no factor", "de-aswg-a", "assembly", "oak", 10, 5, func(*Input) {}, MaskCannotTell, "counts as keep it on"},
		{"settled", "de-aswg-a", "assembly", "oak", 100, 3, factor, NotShownNeeded, "minutes after the task"},
		{"too few runs", "de-aswg-a", "assembly", "oak", 100, 2, factor, MaskCannotTell, "the least is 3"},
		// 350 · 3.45 / 1250 = 0.966, 1.16 with the spread.
		{"spread reaches over", "de-aswg-a", "assembly", "oak", 350, 3, factor, MaskCannotTell, "with the factor's spread"},
		{"factor lifts it over", "de-aswg-a", "assembly", "oak", 400, 3, factor, KeepOn, "times the limit"},
		{"no spread", "de-aswg-a", "assembly", "oak", 100, 3, withFactor(unspread), MaskCannotTell, "no stated spread"},
		{"inhalable limit", "eu-cmrd", "assembly", "oak", 10, 9, withFactor(inhalable), MaskCannotTell, "inhalable"},
		{"other fraction", "eu-cmrd", "assembly", "oak", 10, 9, factor, MaskCannotTell, "not used"},
		{"other dust", "de-aswg-a", "assembly", "MDF", 100, 3, factor, MaskCannotTell, "MDF was worked"},
		{"hand sanding", "de-aswg-a", "Hand-sanding", "oak", 10, 5, factor, KeepOn, "by default"},
		{"turning", "de-aswg-a", "bowl turning", "oak", 10, 5, factor, KeepOn, "by default"},
		{"sweeping", "de-aswg-a", "sweeping up", "", 10, 5, factor, KeepOn, "by default"},
		{"bag change", "de-aswg-a", "bag_change", "", 10, 5, factor, KeepOn, "by default"},
		{"bin", "de-aswg-a", "emptying the bin", "", 10, 5, factor, KeepOn, "by default"},
	} {
		m := maskOf(t, c.limit, c.task, c.material, c.level, c.n, c.change)
		require.Equal(t, c.want, m.State, "%s: %s", c.name, m.Why)
		require.Contains(t, m.Why, c.why, c.name)
	}
}

func TestSensitisingWoodKeepsItOn(t *testing.T) {
	f := respirableFactor
	f.Material = "western red cedar"
	m := maskOf(t, "de-aswg-a", "assembly", "Western Red Cedar", 10, 5, withFactor(f))
	require.Equal(t, KeepOn, m.State)
	require.Contains(t, m.Why, "cedar")
}

func TestMaskNeedsWellMeasuredRuns(t *testing.T) {
	gappy := func(in *Input) {
		in.Series = []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1.2), 100, 0}, steady{hours(2), hours(2.3), 100, 0}, steady{hours(3), hours(8), 100, 0})}
	}
	// Runs at 0, 1, 2 and 3 h; those at 1 and 2 h are measured for 12 and 18 of 30 minutes.
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 0, 4, withFactor(respirableFactor), gappy)
	require.Equal(t, 4, m.Runs)
	require.Equal(t, MaskCannotTell, m.State)
	require.Contains(t, m.Why, "at least 75 % measured: 2")
}

func TestSaturatedRunIsNotSettled(t *testing.T) {
	top := func(in *Input) {
		in.Series = []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, time.Minute, 100, dust.Saturated}, steady{time.Minute, hours(8), 100, 0})}
	}
	require.Equal(t, MaskCannotTell, maskOf(t, "de-aswg-a", "assembly", "oak", 0, 4, withFactor(respirableFactor), top).State)
}

func TestAtLeastIsTakenBackWhereItDoesNotHold(t *testing.T) {
	coarse := func(in *Input) {
		in.Series = []*dust.Series{steadyDay(t, dust.BreathingZone, dust.PM10, 9000)}
	}
	m := maskOf(t, "eu-cmrd", "assembly", "oak", 0, 1, coarse)
	require.Equal(t, KeepOn, m.State)
	require.Contains(t, m.Why, "extrapolated")
	over := respirableFactor
	over.Factor = 0.5
	m = maskOf(t, "eu-cmrd", "assembly", "oak", 9000, 1, withFactor(over))
	require.Equal(t, KeepOn, m.State)
	require.Contains(t, m.Why, "over-reads")
}

// Only runs under the newest setup speak for the next run.
func TestMaskUsesTheNewestSetup(t *testing.T) {
	changed := func(in *Input) {
		in.Setups = []dust.SetupPeriod{{Setup: "no hood", From: at(-hours(1)), To: at(hours(3))}, {Setup: "hood", From: at(hours(3))}}
		in.Series = []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(3), 9000, 0}, steady{hours(3), hours(8), 100, 0})}
	}
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 0, 7, withFactor(respirableFactor), changed)
	require.Equal(t, "hood", m.Setup)
	require.Equal(t, 4, m.Runs)
	require.Equal(t, NotShownNeeded, m.State)
	require.Contains(t, m.Why, "3 earlier runs")
	require.InDelta(t, 0.1, *m.HighestMeanMgM3, 1e-9)
}

func TestTwoSensorsOnOneRun(t *testing.T) {
	two := func(in *Input) {
		in.Series = append(in.Series, named(steadyDay(t, dust.BreathingZone, dust.PM25, 1500), "helper"),
			named(steadyDay(t, dust.Room, dust.PM25, 90000), "wall"))
	}
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 100, 3, two)
	require.Equal(t, 3, m.Runs)
	require.InDelta(t, 1.5, *m.HighestMeanMgM3, 1e-9, "the room does not speak for a person")
	require.Equal(t, KeepOn, m.State)
}

func TestNoBreathingZoneNoAnswer(t *testing.T) {
	r := mustAssess(t, Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{steadyDay(t, dust.Room, dust.PM25, 10)},
		Limit: mustLimit(t, "eu-cmrd"), Tasks: []dust.Task{task("assembly", 1, 2)}})
	require.Empty(t, r.Masks)
	require.Contains(t, strings.Join(r.Warnings, "\n"), `task "assembly": no reading from the breathing zone`)
}

func TestWorkThatKeepsItOnByDefault(t *testing.T) {
	for _, name := range []string{"sanding", "Hand Sanding", "turning", "lathe work", "dry sweeping", "bag changing", "bin change", "drum emptying", "cleaning the filter", "blowing down"} {
		require.True(t, byDefault(name), name)
	}
	for _, name := range []string{"assembly", "planing", "cabinet making", "cleaning brushes", "drum", "routing"} {
		require.False(t, byDefault(name), name)
	}
}
