package exposure

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// quarters is a day of 15-min stretches of steady air, in mg/m³.
func quarters(t *testing.T, means ...float64) *dust.Series {
	t.Helper()
	var parts []steady
	for i, m := range means {
		from := time.Duration(i) * 15 * time.Minute
		parts = append(parts, steady{from, from + 15*time.Minute, m * 1000, 0})
	}
	return seriesOf(t, dust.BreathingZone, dust.PM25, parts...)
}

func excursionsOf(t *testing.T, limit string, s *dust.Series) Excursions {
	t.Helper()
	e := oneShift(t, limit, s).Limits[0].Excursions
	require.NotNil(t, e)
	return *e
}

// The ACGIH peak exposure rule (from memory), worked by hand: 15-min means of 2.8,
// 3.4, 1.1, 3.6 and 0.9 mg/m³ at a limit of 1 mg/m³. Two of them are above three
// times the limit with 15 min between them, none above five times.
func TestPeakRuleSpacing(t *testing.T) {
	e := excursionsOf(t, "us-acgih-other", quarters(t, 2.8, 3.4, 1.1, 3.6, 0.9))
	require.Len(t, e.Occasions, 2)
	require.InDelta(t, 3.4, e.Occasions[0].Highest, 1e-9)
	require.InDelta(t, 3.6, e.Occasions[1].Highest, 1e-9)
	require.Equal(t, []string{"two occasions less than 60 min apart"}, words.Strings(e.Broken))
	// The rolling mean passes 3 where a third of the window is at 3.4 and the rest
	// at 2.8, that is at 20 min, and falls below it 0.4/2.3 of 15 min after 30 min.
	require.WithinDuration(t, at(5*time.Minute), e.Occasions[0].Start, 15*time.Second)
	require.InDelta(t, 30+15*0.4/2.3-20, e.Occasions[0].Minutes, 0.25)

	apart := excursionsOf(t, "us-acgih-other", quarters(t, 3.4, 0.1, 0.1, 0.1, 0.1, 0.1, 3.6, 0.1))
	require.Len(t, apart.Occasions, 2)
	require.Empty(t, apart.Broken)
}

func TestPeakRuleParts(t *testing.T) {
	for _, c := range []struct {
		name   string
		limit  string
		means  []float64
		broken []string
	}{
		{"nothing high", "us-acgih-other", []float64{2.9, 2.9, 2.9}, []string{}},
		{"half an hour at a time", "us-acgih-other", []float64{0.1, 3.5, 3.5, 0.1}, []string{"above 3 times the limit for longer than 15 min at a time"}},
		{"above five times", "us-acgih-other", []float64{0.1, 5.5, 0.1, 0.1}, []string{"a 15-min mean of 5.5 mg/m³, above 5 times the limit"}},
		// EH40 (from memory): where no short-term limit is listed, three times the WEL.
		{"UK, 3 × 3 mg/m³", "uk-hard", []float64{0.1, 9.1, 0.1}, []string{"1 occasions above 3 times the limit, the rule allows 0"}},
		{"UK, just below", "uk-hard", []float64{0.1, 8.9, 0.1}, []string{}},
		// TRGS 553: AGW 2 mg/m³, exceedance factor 8, so 16 mg/m³ over 15 min.
		{"Germany, below 16", "de-hard", []float64{0.1, 15.9, 0.1}, []string{}},
		{"Germany, above 16", "de-hard", []float64{0.1, 16.2, 0.1}, []string{"a 15-min mean of 16.2 mg/m³, above 8 times the limit"}},
		{"Quebec, a quarter", "ca-qc-other", []float64{16, 1, 1, 1}, []string{}},
	} {
		require.Equal(t, c.broken, words.Strings(excursionsOf(t, c.limit, quarters(t, c.means...)).Broken), c.name)
	}
}

// The older rule: not more than 30 min a day above three times the limit, here
// 15 of 5 mg/m³. Between 24 and 1 mg/m³ the rolling mean crosses 15 after 9/23 of
// the window on the way down, and as long before the end on the way up.
func TestOlderRuleCountsMinutes(t *testing.T) {
	e := excursionsOf(t, "ca-qc-other", quarters(t, 24, 1, 1, 1, 24, 24, 1, 24, 1))
	flank := 15 * 9.0 / 23
	total := 0.0
	for _, o := range e.Occasions {
		total += o.Minutes
	}
	require.InDelta(t, flank+(15+2*flank)+2*flank, total, 0.75)
	require.Len(t, e.Broken, 1)
	require.Contains(t, e.Broken[0].String(), "above 3 times the limit in all, the rule allows 30")
}

func TestPeakRuleBelongsToTheLimit(t *testing.T) {
	for id, want := range map[string]string{
		"us-acgih-other": "peak exposure rule", "us-niosh-rel": "", "uk-dust-inh": "", "de-aswg-a": "", "de-hard-st": "", "eu-cmrd": "",
		"uk-soft": "three times the WEL over 15 min", "ca-on-other": "older excursion rule", "de-hard": "exceedance factor 8",
	} {
		got := ""
		if rule := mustLimit(t, id).peakRule(); rule != nil {
			got = rule.Name.String()
		}
		require.Equal(t, want, got, id)
	}
}

// A factor for the limit's fraction scales the windows, too.
func TestPeakRuleWithFactor(t *testing.T) {
	f := respirableFactor
	f.Fraction, f.Factor = InhalableFraction, 2
	r := oneShift(t, "us-acgih-other", quarters(t, 0.1, 2.6, 0.1), withFactor(f))
	require.Equal(t, []string{"a 15-min mean of 5.2 mg/m³, above 5 times the limit"}, words.Strings(r.Limits[0].Excursions.Broken))
	require.Contains(t, r.Why.String(), "peak exposure rule broken, with the factor")
	require.Empty(t, oneShift(t, "us-acgih-other", quarters(t, 0.1, 2.6, 0.1)).Limits[0].Excursions.Broken)
}
