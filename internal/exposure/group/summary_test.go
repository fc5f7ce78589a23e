package group

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/words"
)

// below are shifts not detected.
func below(mgM3 ...float64) (values []Value) {
	for _, x := range mgM3 {
		values = append(values, Value{MgM3: x, Below: true})
	}
	return values
}

// The rules of EN 689:2018 as the formulas state them, limit 1 mg/m³.
func TestEN689Findings(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []Value
		want   Finding
		more   int
		why    string
	}{
		{"none", nil, NotEnoughDays, 3, "there is none"},
		{"one", valuesOf(0.01), NotEnoughDays, 2, "there is 1"},
		{"three below a tenth", valuesOf(0.05, 0.09, 0.08), ShownBelow, 0, "All 3 shifts are below 10 %"},
		{"three, one not", valuesOf(0.05, 0.1, 0.08), NotEnoughDays, 3, "at least 6 shifts"},
		{"four below 15 %", valuesOf(0.05, 0.14, 0.08, 0.02), ShownBelow, 0, "15 %"},
		{"five below a fifth", valuesOf(0.05, 0.19, 0.08, 0.02, 0.1), ShownBelow, 0, "20 %"},
		{"five, one not", valuesOf(0.05, 0.2, 0.08, 0.02, 0.1), NotEnoughDays, 1, "at least 6 shifts"},
		{"six narrow", valuesOf(0.3, 0.35, 0.4, 0.32, 0.38, 0.36), ShownBelow, 0, "with 70 % confidence"},
		{"six wide", valuesOf(0.05, 0.9, 0.2, 0.4, 0.6, 0.1), NotShown, 0, "the dust has to go down first"},
		{"ten nearly", valuesOf(.9, .92, .95, .91, .93, .94, .96, .99, .98, .97), NotShown, 0, "38 more shifts like these would show it"},
		{"one over", valuesOf(0.05, 1.01), Over, 0, "1 of 2 shifts was above"},
		{"two over", valuesOf(0.05, 1.01, 2), Over, 0, "2 of 3 shifts were above"},
		{"not detected counts as its limit", below(0.09, 0.09, 0.09), ShownBelow, 0, "10 %"},
		{"not detected, too coarse", below(0.09, 0.3, 0.09), NotEnoughDays, 3, "at least 6"},
		{"all below detection", below(0.19, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1), ShownBelow, 0, "accepts from 5"},
		{"most below detection", append(below(0.3, 0.3, 0.3, 0.3), valuesOf(0.5, 0.6)...), NotShown, 0, "percentiles only"},
		{"no spread", valuesOf(0.5, 0.5, 0.5, 0.5, 0.5, 0.5), NotShown, 0, "do not differ at all"},
	} {
		s := Summarise(c.values, 1, Options{})
		require.Equal(t, c.want, s.EN689.Finding, c.name)
		require.Equal(t, c.want, s.Finding, c.name)
		require.Equal(t, c.more, s.MoreDays, c.name)
		require.Contains(t, s.Why.String(), c.why, c.name)
	}
}

// 38 more shifts: the least n with U_T(n) ≤ U_R, by trying every n.
func TestMoreDaysIfAlike(t *testing.T) {
	s := Summarise(valuesOf(.9, .92, .95, .91, .93, .94, .96, .99, .98, .97), 1, Options{})
	n := 10
	for ; value(t)(UT(n)) > *s.EN689.UR; n++ {
	}
	require.Equal(t, n-10, *s.EN689.MoreDaysIfAlike)
}

// No shift over the limit, and yet more than one in twenty must be: fifteen shifts
// close under it.
func TestOverWithoutAShiftOver(t *testing.T) {
	x := []float64{.80, .85, .88, .9, .92, .93, .94, .95, .96, .97, .98, .985, .99, .995, .999, .99, .98, .97, .995, .99}
	s := Summarise(valuesOf(x...), 1, Options{})
	require.Equal(t, NotShown, s.EN689.Finding)
	require.Greater(t, *s.ExceedanceLow, 0.05)
	require.Equal(t, Over, s.Finding)
	require.Contains(t, s.Why.String(), "No shift was above")
}

// Values that are "at least" can show over, and nothing else.
func TestAtLeastShowsOnlyOver(t *testing.T) {
	const why = "The sensor sees fine dust only; the limit is for all of it."
	for _, x := range [][]float64{nil, {0.01, 0.01, 0.02}, {0.3, 0.35, 0.4, 0.32, 0.38, 0.36}, {0.05, 0.9, 0.2, 0.4, 0.6, 0.1}} {
		s := Summarise(valuesOf(x...), 1, Options{AtLeast: words.Of(why)})
		require.Equal(t, CannotTell, s.Finding)
		require.Equal(t, why, s.Why.String())
		for _, st := range s.Statements {
			require.Equal(t, CannotTell, st.Finding, st.Text)
		}
		require.Nil(t, s.UTL95_95)
		require.Nil(t, s.UTL95_70)
		require.Nil(t, s.ExceedanceHigh)
		require.Nil(t, s.MeanHigh)
		require.Nil(t, s.Category)
		require.Nil(t, s.Bayes)
		require.Nil(t, s.EN689.MoreDaysIfAlike)
	}
	require.Equal(t, Over, Summarise(valuesOf(0.3, 1.2), 1, Options{AtLeast: words.Literal(why)}).Finding)
}

// By share below detection and number of shifts, as the package comment says.
func TestChoiceForNonDetects(t *testing.T) {
	mixed := func(detected, notDetected int) []Value {
		var x []float64
		for i := range detected {
			x = append(x, 0.2+0.05*float64(i))
		}
		values := valuesOf(x...)
		for range notDetected {
			values = append(values, Value{MgM3: 0.1, Below: true})
		}
		return values
	}
	for _, c := range []struct {
		detected, not int
		method        string
		gm, p95       bool
	}{
		{10, 2, "regression on order statistics", true, true},
		{5, 5, "regression on order statistics", true, true},
		{16, 4, "maximum likelihood", true, true},
		{4, 6, "Kaplan–Meier percentiles", false, true},
		{2, 8, "Kaplan–Meier percentiles", false, true},
		{1, 9, "at most", false, false},
		{0, 4, "at most", false, false},
	} {
		s := Summarise(mixed(c.detected, c.not), 1, Options{})
		require.Equal(t, c.method, s.NonDetects.Method.String())
		require.Equal(t, c.gm, s.GM != nil)
		require.Equal(t, c.gm, s.UTL95_95 != nil)
		require.Equal(t, c.p95, s.NonDetects.KMP95 != nil)
		require.InDelta(t, *s.Highest, s.NonDetects.AtMost, 0)
		require.Nil(t, s.MeanHigh, "Land's limits are exact only for detected shifts")
	}
	require.Nil(t, Summarise(mixed(9, 0), 1, Options{}).NonDetects)
}

// A day under the sensor's floor, even a zero, is a day below it; without a floor a
// zero is left out and said so.
func TestFloor(t *testing.T) {
	x := valuesOf(0, 0.004, 0.3, 0.35, 0.4, 0.32, 0.38)
	s := Summarise(x, 1, Options{FloorMgM3: 0.01})
	require.Equal(t, 7, s.Days)
	require.Equal(t, 2, s.DaysBelow)
	require.Equal(t, 0.01, s.Plot[0].MgM3)
	s = Summarise(x, 1, Options{})
	require.Equal(t, 6, s.Days)
	require.Equal(t, []Excluded{{"1", words.Of("zero has no logarithm: say from where on the sensor can tell dust from clean air, and it counts as below that")}}, s.Excluded)
	require.Contains(t, strings.Join(words.Strings(s.Warnings), "\n"), "1 shift was left out")
}

func TestWarnings(t *testing.T) {
	trend := []float64{.1, .12, .15, .2, .24, .3, .33, .4, .5, .6, .7, .8}
	for name, c := range map[string]struct {
		values []Value
		want   string
	}{
		"few for Land":    {valuesOf(welding...), "Land's upper limit"},
		"autocorrelation": {valuesOf(trend...), "resemble the ones before"},
		"shape":           {valuesOf(.1, .1001, .0999, .1002, .0998, .1003, .5, .52), "do not look lognormal"},
		"ties":            {valuesOf(.1, .1, .1, .2, .3, .25), "3 of 6 shifts share their value"},
		"label twice":     {[]Value{{Label: "2026-03-02", MgM3: 1}, {Label: "2026-03-02", MgM3: 2}}, "2026-03-02 occurs more than once"},
		"blind":           {append(below(2), valuesOf(.1, .2, .3)...), "1 shift was only known to be below a value above the limit"},
		"approximate":     {append(below(.05), valuesOf(.1, .2, .3)...), "approximate"},
	} {
		require.Contains(t, strings.Join(words.Strings(Summarise(c.values, 1, Options{}).Warnings), "\n"), c.want, name)
	}
	// Ten even shifts draw none.
	require.Empty(t, Summarise(valuesOf(.31, .22, .27, .4, .19, .35, .25, .29, .21, .33, .26, .3), 1, Options{}).Warnings)
}

func TestWords(t *testing.T) {
	for x, want := range map[float64]string{0.0123456: "0.0123 mg/m³", 10.04: "10 mg/m³", 10.06: "10.1 mg/m³", 5: "5 mg/m³", 123.4: "123 mg/m³", 1234.5: "1234 mg/m³",
		1e9: "more than a million mg/m³", 1e-9: "less than 0.00001 mg/m³", 0: "less than 0.00001 mg/m³"} {
		require.Equal(t, want, mg(x).String())
	}
	for share, want := range map[float64]string{0: "less than 0.01 %", 0.0005: "0.05 %", 0.053: "5.3 %", 0.05: "5 %", 0.5: "50 %", 0.994: "99.4 %", 0.99999: "more than 99.9 %", 1: "more than 99.9 %"} {
		require.Equal(t, want, percent(share).String())
	}
	require.Equal(t, "nothing about the level, a spread with a GSD of 1.68 that weighs as much as 3 shifts", DefaultPrior.text().String())
	require.Equal(t, "a level of 1 mg/m³ that weighs as much as 0.1 shifts, a spread with a GSD of 2.03 that weighs as much as 3 shifts", Prior{K0: 0.1, A0: 1.5, B0: 0.75}.text().String())
	require.Contains(t, Prior{A0: -0.5}.text().String(), "nothing about the spread")
}

// No sentence may call air harmless or a limit complied with.
func TestForbiddenWords(t *testing.T) {
	for _, x := range [][]float64{nil, {1}, {0.01, 0.02, 0.03}, welding, {0.05, 0.9, 0.2, 0.4, 0.6, 0.1}} {
		for _, limit := range []float64{0, 0.5, 5} {
			text, err := json.Marshal(Summarise(valuesOf(x...), limit, Options{FloorMgM3: 0.02}))
			require.NoError(t, err)
			for _, word := range []string{"safe", "complian", "harmless", "acceptable", "clean air is"} {
				require.NotContains(t, strings.ToLower(string(text)), word)
			}
		}
	}
}

// Six shifts of welding fume against a limit of 5 mg/m³.
func ExampleSummarise() {
	var shifts []Value
	for i, x := range []float64{0.84, 0.98, 0.42, 1.16, 1.36, 2.66} {
		shifts = append(shifts, Value{Label: fmt.Sprint("day ", i+1), MgM3: x})
	}
	s := Summarise(shifts, 5, Options{})
	fmt.Printf("GM %.2f mg/m³, GSD %.2f\n%s\n", *s.GM, *s.GSD, s.Why)
	// Output:
	// GM 1.06 mg/m³, GSD 1.83
	// Shown below the limit of 5 mg/m³ in 95 % of shifts, with 70 % confidence: U_R is 2.56, and 2.19 or more is needed from 6 shifts.
}
