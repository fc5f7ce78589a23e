package exposure

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/validation"
)

// Values as printed by the documents named.
func TestPublishedLimits(t *testing.T) {
	for _, want := range []struct {
		id        string
		mgM3      float64
		fraction  Fraction
		averaging Averaging
		source    string
	}{
		{"us-osha-pnor-total", 15, TotalFraction, EightHours, "29 CFR 1910.1000 Table Z-1"},
		{"us-osha-pnor-resp", 5, RespirableFraction, EightHours, "29 CFR 1910.1000 Table Z-1"},
		{"us-niosh-rel", 1, TotalFraction, TenHours, "NIOSH Pocket Guide, wood dust; fraction by OSHA's page"},
		{"us-acgih-wrc", 0.5, InhalableFraction, EightHours, "ACGIH TLVs, wood dusts"},
		{"us-acgih-other", 1, InhalableFraction, EightHours, "ACGIH TLVs, wood dusts"},
		{"eu-cmrd", 2, InhalableFraction, EightHours, "Directive 2004/37/EC Annex III as amended by (EU) 2017/2398"},
		{"uk-hard", 3, InhalableFraction, EightHours, "EH40/2005 4th ed. Table 1"},
		{"uk-soft", 5, InhalableFraction, EightHours, "EH40/2005 4th ed. Table 1"},
		{"de-hard", 2, InhalableFraction, EightHours, "TRGS 553 section 2(3)"},
		{"de-hard-st", 16, InhalableFraction, FifteenMinutes, "TRGS 553 section 2(4): factor 8"},
		{"de-aswg-a", 1.25, RespirableFraction, EightHours, "TRGS 900 no. 2.4"},
		{"us-ca-wood", 2, NotStatedFraction, EightHours, "8 CCR 5155 Table AC-1; fraction unconfirmed"},
		{"who-pm2.5-24h", 0.015, PM25Fraction, FullDay, "WHO global air quality guidelines 2021"},
		{"who-it3-pm2.5-24h", 0.0375, PM25Fraction, FullDay, "WHO global air quality guidelines 2021, interim target 3"},
		{"who-pm10-annual", 0.015, PM10Fraction, FullYear, "WHO global air quality guidelines 2021"},
		{"us-naaqs-pm25-annual", 0.009, PM25Fraction, FullYear, "40 CFR 50.20"},
		{"us-naaqs-pm25-24h", 0.035, PM25Fraction, FullDay, "40 CFR 50.18"},
		{"eu2024-pm10-24h", 0.045, PM10Fraction, FullDay, "Directive (EU) 2024/2881 Annex I"},
		{"eu2008-pm2.5-annual", 0.025, PM25Fraction, FullYear, "Directive 2008/50/EC Annex XIV"},
	} {
		l, err := FindLimit(want.id)
		require.NoError(t, err)
		if l.FromMemory {
			want.source += " (from memory)"
		}
		validation.Check(t, "limit "+want.id+", mg/m³", want.source, want.mgM3, l.MgM3, 1e-12)
		require.Equal(t, want.fraction, l.Fraction, want.id)
		require.Equal(t, want.averaging, l.Averaging, want.id)
	}
}

func TestEveryLimitIsWhole(t *testing.T) {
	_, err := limitTable()
	require.NoError(t, err)
	require.NotEmpty(t, Limits())
	seen := map[string]bool{}
	for _, l := range Limits() {
		require.False(t, seen[l.ID], "%s twice", l.ID)
		seen[l.ID] = true
		require.Regexp(t, `^20\d\d-\d\d$`, l.AsOf, l.ID)
		require.NotEmpty(t, l.Jurisdiction, l.ID)
		require.NotEmpty(t, l.Body, l.ID)
		require.NotEmpty(t, l.Agent, l.ID)
		require.NotEmpty(t, l.Species, l.ID)
		require.NotEmpty(t, l.ValuePrinted, l.ID)
		require.NotEmpty(t, l.FractionPrinted, l.ID)
		require.NotEmpty(t, l.AveragingPrinted, l.ID)
		require.NotEmpty(t, l.Kind, l.ID)
		require.NotEmpty(t, l.LegalStatus, l.ID)
		require.NotEmpty(t, l.Source.Document, l.ID)
		require.NotContains(t, l.Label(), "  ", l.ID)
		if l.ID != "uk-generic-stel" {
			require.Positive(t, l.MgM3, l.ID)
			require.Equal(t, l.Ambient, l.Assessable() != nil, l.ID)
		}
		// Particulate-matter sizes are ambient terms; no work limit uses them.
		require.Equal(t, l.Ambient, l.Fraction == PM25Fraction || l.Fraction == PM10Fraction, l.ID)
	}
}

func TestPrintedOriginalsAreKept(t *testing.T) {
	l, err := FindLimit("de-aswg-a")
	require.NoError(t, err)
	require.Equal(t, "respirable (A)", l.FractionPrinted)
	require.Equal(t, "8 h shift", l.AveragingPrinted)
	l, err = FindLimit("who-pm2.5-24h")
	require.NoError(t, err)
	require.Equal(t, "15 µg/m³", l.ValuePrinted)
}

func TestRuleWithoutNumberIsListedButNotChosen(t *testing.T) {
	l, err := FindLimit("uk-generic-stel")
	require.NoError(t, err)
	text, err := json.Marshal(l)
	require.NoError(t, err)
	require.NotContains(t, string(text), "limit_mg_m3", "a missing value must not show as zero")
	_, err = ChooseLimit("uk-generic-stel")
	require.ErrorContains(t, err, "not a number")
}

func TestAmbientLimitIsForComparisonOnly(t *testing.T) {
	_, err := ChooseLimit("who-pm2.5-24h")
	require.ErrorContains(t, err, "for comparison only")
	ambient, err := FindLimit("us-naaqs-pm10-24h")
	require.NoError(t, err)
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), 10, 0})
	_, err = Assess(Input{Shifts: []dust.Shift{shiftOf(hours(1))}, Series: []*dust.Series{s}, Limit: ambient})
	require.ErrorContains(t, err, "for comparison only")
}

func TestUnknownLimit(t *testing.T) {
	for typed, hint := range map[string]string{
		"uk-hart": "uk-hard", "UK-HARD": "uk-hard", "osha": "us-osha-pnor-total", "eu-cmr": "eu-cmrd",
		"": "dustlog limits", "something else": "dustlog limits",
	} {
		_, err := FindLimit(typed)
		require.ErrorIs(t, err, dust.ErrUnknownLimit, typed)
		require.ErrorContains(t, err, hint, typed)
	}
	_, err := ChooseLimit("nothing like it")
	require.ErrorIs(t, err, dust.ErrUnknownLimit)
}

func TestLimitsAreACopy(t *testing.T) {
	Limits()[0].MgM3 = 99
	require.NotEqual(t, 99.0, Limits()[0].MgM3)
}

func TestBrokenTableIsAnError(t *testing.T) {
	for name, text := range map[string]string{
		"no JSON":   `{`,
		"no date":   `{"limits":[]}`,
		"fraction":  `{"as_of":"2026-11","limits":[{"id":"a","fraction":"big","averaging":"8 h","unit":"mg/m3","value":1}]}`,
		"averaging": `{"as_of":"2026-11","limits":[{"id":"a","fraction":"total","averaging":"often","unit":"mg/m3","value":1}]}`,
		"unit":      `{"as_of":"2026-11","limits":[{"id":"a","fraction":"total","averaging":"8 h","unit":"ppm","value":1}]}`,
	} {
		_, err := parseLimits([]byte(text))
		require.Error(t, err, name)
	}
}

// Levenshtein's usual schoolbook pair: kitten to sitting takes three edits.
func TestEdits(t *testing.T) {
	require.Equal(t, 3, edits("kitten", "sitting"))
	require.Equal(t, 4, edits("", "abcd"))
}
