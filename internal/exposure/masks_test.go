package exposure

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// wobble makes days differ by about a tenth: real days do, and without a spread
// there is no upper level.
var wobble = []float64{1, 0.9, 1.1}

// shortDays are n days, 24 h apart, with 40 min of readings each.
func shortDays(t *testing.T, channel dust.Channel, level float64, n int) *dust.Series {
	t.Helper()
	var parts []steady
	for i := range n {
		from := hours(24 * float64(i))
		parts = append(parts, steady{from, from + 40*time.Minute, level * wobble[i%len(wobble)], 0})
	}
	return seriesOf(t, dust.BreathingZone, channel, parts...)
}

// maskOf asks about a task run for half an hour on each of n days.
func maskOf(t *testing.T, limit, name, material string, level float64, n int, change ...func(*Input)) MaskResult {
	t.Helper()
	in := Input{Series: []*dust.Series{shortDays(t, dust.PM25, level, n)}, Limit: mustLimit(t, limit), DeclaredShift: true}
	for i := range n {
		day := hours(24 * float64(i))
		in.Shifts = append(in.Shifts, dust.Shift{Date: at(day).Format(time.DateOnly), Start: at(day), End: at(day + hours(8))})
		in.Tasks = append(in.Tasks, dust.Task{Name: name, Material: material, Start: at(day), Stop: at(day + hours(0.5))})
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
		// 310 · 1.1 · 3.45 / 1250 = 0.941, 1.13 with the spread.
		{"spread reaches over", "de-aswg-a", "assembly", "oak", 310, 3, factor, MaskCannotTell, "with the factor's spread"},
		// 200 · 1.1 · 4.14 / 1250 = 0.73, but three days leave 2.15 times their GM open.
		{"days too few for the upper level", "de-aswg-a", "assembly", "oak", 200, 3, factor, MaskCannotTell, "more days would narrow it"},
		{"highest 15 minutes", "de-hard-st", "assembly", "oak", 10, 5, factor, MaskCannotTell, "only the mean is known"},
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
		require.Contains(t, m.Why.String(), c.why, c.name)
	}
}

func TestSensitisingWoodKeepsItOn(t *testing.T) {
	f := respirableFactor
	f.Material = "western red cedar"
	m := maskOf(t, "de-aswg-a", "assembly", "Western Red Cedar", 10, 5, withFactor(f))
	require.Equal(t, KeepOn, m.State)
	require.Contains(t, m.Why.String(), "cedar")
}

func TestMaskNeedsWellMeasuredRuns(t *testing.T) {
	gappy := func(in *Input) {
		in.Series = []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(0.5), 100, 0}, steady{hours(24), hours(24.2), 100, 0},
			steady{hours(48), hours(48.3), 100, 0}, steady{hours(72), hours(73), 100, 0})}
	}
	// Those of the second and third day are measured for 12 and 18 of 30 minutes.
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 0, 4, withFactor(respirableFactor), gappy)
	require.Equal(t, 4, m.Runs)
	require.Equal(t, MaskCannotTell, m.State)
	require.Contains(t, m.Why.String(), "at least 75 % measured: 2")
}

func TestSaturatedRunIsNotSettled(t *testing.T) {
	top := func(in *Input) {
		in.Series = []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, time.Minute, 100, dust.Saturated}, steady{time.Minute, hours(0.5), 100, 0},
			steady{hours(24), hours(24.5), 90, 0}, steady{hours(48), hours(48.5), 110, 0})}
	}
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 0, 3, withFactor(respirableFactor), top)
	require.Equal(t, MaskCannotTell, m.State)
	require.Contains(t, m.Why.String(), "top of the sensor's range")
}

func TestAtLeastIsTakenBackWhereItDoesNotHold(t *testing.T) {
	coarse := func(in *Input) {
		in.Series = []*dust.Series{steadyDay(t, dust.BreathingZone, dust.PM10, 9000)}
	}
	m := maskOf(t, "eu-cmrd", "assembly", "oak", 0, 1, coarse)
	require.Equal(t, KeepOn, m.State)
	require.Contains(t, m.Why.String(), "extrapolated")
	over := respirableFactor
	over.Factor = 0.5
	m = maskOf(t, "eu-cmrd", "assembly", "oak", 9000, 1, withFactor(over))
	require.Equal(t, KeepOn, m.State)
	require.Contains(t, m.Why.String(), "over-reads")
}

// Only runs under the newest setup speak for the next run.
func TestMaskUsesTheNewestSetup(t *testing.T) {
	changed := func(in *Input) {
		in.Setups = []dust.SetupPeriod{{Setup: "no hood", From: at(-hours(1)), To: at(hours(60))}, {Setup: "hood", From: at(hours(60))}}
		in.Series = []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), 9000, 0}, steady{hours(24), hours(25), 9000, 0}, steady{hours(48), hours(49), 9000, 0},
			steady{hours(72), hours(73), 100, 0}, steady{hours(96), hours(97), 90, 0}, steady{hours(120), hours(121), 95, 0}, steady{hours(144), hours(145), 92, 0})}
	}
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 0, 7, withFactor(respirableFactor), changed)
	require.Equal(t, "hood", m.Setup)
	require.Equal(t, 4, m.Runs)
	require.Equal(t, NotShownNeeded, m.State)
	require.Contains(t, m.Why.String(), "3 earlier runs")
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

// With K = 7.656 for n = 3, 95 % and 95 % (ISO 16269-6; Montgomery and Runger
// 2018, table XII prints 7.655): ln of 100, 90 and 110 has mean 4.60182 and
// standard deviation 0.10038; e^(4.60182 + 7.656·0.10038) = 214.9; times 3.45·1.2.
func TestUpperLevelByHand(t *testing.T) {
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 100, 3, withFactor(respirableFactor))
	l := m.Limits[0]
	require.InDelta(t, 0.8898, *l.UpperMgM3, 0.001)
	require.InDelta(t, 0.8898/1.25, *l.HazardRatioToCover, 0.001)
	require.InDelta(t, 0.110*3.45/1.25, *l.HazardRatio, 1e-9)
	require.InDelta(t, 0.110*3.45*1.2/1.25, *l.HazardRatioAtMost, 1e-9)
	require.InDelta(t, 0.090*3.45, *l.LowestMgM3, 1e-9)
	require.InDelta(t, 0.100*3.45, *l.TypicalMgM3, 1e-9)
	require.False(t, l.AtLeast)
	require.Equal(t, 3, m.Days)
}

// Runs of one day hang together: ten on one day count as one day, by the highest.
func TestRunsOfOneDayAreOneDay(t *testing.T) {
	often := func(in *Input) {
		in.Tasks = nil
		for i := range 3 {
			for k := range 4 {
				from := hours(24*float64(i)) + time.Duration(k)*10*time.Minute
				in.Tasks = append(in.Tasks, dust.Task{Name: "assembly", Material: "oak", Start: at(from), Stop: at(from + 10*time.Minute)})
			}
		}
	}
	once := maskOf(t, "de-aswg-a", "assembly", "oak", 100, 3, withFactor(respirableFactor))
	many := maskOf(t, "de-aswg-a", "assembly", "oak", 100, 3, withFactor(respirableFactor), often)
	require.Equal(t, 12, many.Runs)
	require.Equal(t, 3, many.Days)
	require.InDelta(t, *once.Limits[0].UpperMgM3, *many.Limits[0].UpperMgM3, 1e-12)
}

func TestDaysWithoutSpreadSettleNothing(t *testing.T) {
	same := func(in *Input) {
		in.Series = []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(73), 100, 0})}
	}
	m := maskOf(t, "de-aswg-a", "assembly", "oak", 0, 4, withFactor(respirableFactor), same)
	require.Equal(t, MaskCannotTell, m.State)
	require.Contains(t, m.Why.String(), "check the sensor")
	require.Nil(t, m.Limits[0].UpperMgM3)
}

func TestEachMaterialHasItsOwnAnswer(t *testing.T) {
	in := Input{Series: []*dust.Series{shortDays(t, dust.PM25, 1500, 2)}, Limit: mustLimit(t, "eu-cmrd"), DeclaredShift: true,
		Shifts: []dust.Shift{shiftOf(hours(8))}}
	for i, material := range []string{"Oak", "pine", "oak ", ""} {
		from := time.Duration(i) * 10 * time.Minute
		in.Tasks = append(in.Tasks, dust.Task{Name: "planing", Material: material, Start: at(from), Stop: at(from + 10*time.Minute)})
	}
	r := mustAssess(t, in)
	var got []string
	for _, m := range r.Masks {
		got = append(got, m.Label())
	}
	require.Equal(t, []string{"planing (oak)", "planing (pine)", "planing"}, got)
	require.Equal(t, 2, r.Masks[0].Runs)
}

// Where hardwood is in the mix its limit holds for all of it (EU 2017/2398), so a
// softwood limit says nothing about oak, and the lowest that bears decides.
func TestTheLimitForTheWoodDecides(t *testing.T) {
	both := func(in *Input) { in.Also = []Limit{mustLimit(t, "uk-hard")} }
	m := maskOf(t, "uk-soft", "planing", "oak", 4000, 1, both)
	require.Equal(t, "uk-hard", m.LimitID)
	require.Equal(t, KeepOn, m.State)
	require.InDelta(t, 4.0/3, *m.HazardRatioAtLeast, 1e-9)
	require.Equal(t, DoesNotApply, m.Limits[0].Bearing)
	require.True(t, m.Limits[1].Governs)

	m = maskOf(t, "uk-soft", "planing", "pine", 4000, 1, both)
	require.Equal(t, "uk-soft", m.LimitID)
	require.Equal(t, MaskCannotTell, m.State, "the hardwood limit does not bear on pine")

	m = maskOf(t, "uk-soft", "planing", "oak", 4000, 1)
	require.Equal(t, MaskCannotTell, m.State)
	require.Contains(t, m.Why.String(), "none of the limits asked about is for this wood")
}

func TestOwnSensitisingWood(t *testing.T) {
	own := func(in *Input) { in.Materials = map[string]string{"iroko": "allergenic"} }
	m := maskOf(t, "de-aswg-a", "assembly", "Iroko", 10, 4, own)
	require.Equal(t, KeepOn, m.State)
	require.Contains(t, m.Why.String(), "sensitising wood (iroko)")
}

// More dust, or a factor that is less sure, never makes the answer laxer.
func TestMoreDustOrDoubtNeverRelaxes(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 40 {
		level, more := 20+400*r.Float64(), 1+r.Float64()
		f := respirableFactor
		f.SpreadPercent = 5 + 40*r.Float64()
		wide := f
		wide.SpreadPercent += 30 * r.Float64()
		m := maskOf(t, "de-aswg-a", "assembly", "oak", level, 4, withFactor(f))
		dustier := maskOf(t, "de-aswg-a", "assembly", "oak", level*more, 4, withFactor(f))
		doubtful := maskOf(t, "de-aswg-a", "assembly", "oak", level, 4, withFactor(wide))
		require.GreaterOrEqual(t, dustier.State.Strictness(), m.State.Strictness())
		require.GreaterOrEqual(t, doubtful.State.Strictness(), m.State.Strictness())
		require.GreaterOrEqual(t, *doubtful.Limits[0].HazardRatioToCover, *m.Limits[0].HazardRatioToCover)
	}
}

func TestNoBreathingZoneNoAnswer(t *testing.T) {
	r := mustAssess(t, Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{steadyDay(t, dust.Room, dust.PM25, 10)},
		Limit: mustLimit(t, "eu-cmrd"), Tasks: []dust.Task{task("assembly", 1, 2)}})
	require.Empty(t, r.Masks)
	require.Contains(t, strings.Join(words.Strings(r.Warnings), "\n"), `task "assembly": no reading from the breathing zone`)
}

func TestWorkThatKeepsItOnByDefault(t *testing.T) {
	for _, name := range []string{"sanding", "Hand Sanding", "turning", "lathe work", "dry sweeping", "bag changing", "bin change", "drum emptying", "cleaning the filter", "emptying the dust collector", "empty cyclone", "emptying shop-vac", "sack change", "blowing down"} {
		require.True(t, byDefault(name), name)
	}
	for _, name := range []string{"assembly", "planing", "cabinet making", "cleaning brushes", "drum", "routing"} {
		require.False(t, byDefault(name), name)
	}
}
