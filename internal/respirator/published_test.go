package respirator_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/respirator"
	"dustlog/internal/validation"
)

func published(t *testing.T) respirator.Factors {
	t.Helper()
	f, err := respirator.Published()
	require.NoError(t, err)
	return f
}

func table(t *testing.T, id string) respirator.Table {
	t.Helper()
	for _, table := range published(t).Tables {
		if table.ID == id {
			return table
		}
	}
	t.Fatalf("no table %q", id)
	return respirator.Table{}
}

// row is one printed cell of a table.
type row struct {
	label string
	apf   float64
}

func checkRows(t *testing.T, id, source string, rows []row) {
	t.Helper()
	classes := table(t, id).Classes
	require.Len(t, classes, len(rows))
	var want, got []float64
	for i, c := range classes {
		require.Equal(t, rows[i].label, c.Label())
		want, got = append(want, rows[i].apf), append(got, c.APF)
	}
	validation.CheckAll(t, "assigned protection factors, every class", source, want, got, 0)
}

// The cells of Table 1, row by row from the left, as printed in the Code of Federal
// Regulations. Where it prints 25/1,000 (note 4) the lower one is the factor.
func TestPublishedFactorsUS(t *testing.T) {
	checkRows(t, "us", "29 CFR 1910.134(d)(3)(i)(A), Table 1", []row{
		{"quarter mask, air-purifying", 5}, {"half mask, air-purifying", 10}, {"full facepiece, air-purifying", 50},
		{"half mask, powered air-purifying", 50}, {"full facepiece, powered air-purifying", 1000},
		{"helmet or hood, powered air-purifying", 25}, {"loose-fitting facepiece, powered air-purifying", 25},
		{"half mask, supplied-air, demand", 10}, {"full facepiece, supplied-air, demand", 50},
		{"half mask, supplied-air, continuous flow", 50}, {"full facepiece, supplied-air, continuous flow", 1000},
		{"helmet or hood, supplied-air, continuous flow", 25}, {"loose-fitting facepiece, supplied-air, continuous flow", 25},
		{"half mask, supplied-air, positive pressure", 50}, {"full facepiece, supplied-air, positive pressure", 1000},
		{"half mask, self-contained, demand", 10}, {"full facepiece, self-contained, demand", 50}, {"helmet or hood, self-contained, demand", 50},
		{"full facepiece, self-contained, positive pressure", 10000}, {"helmet or hood, self-contained, positive pressure", 10000},
	})
	for _, c := range table(t, "us").Classes {
		continuous := c.Type == "powered air-purifying" || c.Type == "supplied-air, continuous flow"
		require.Equal(t, continuous && c.Facepiece == "helmet or hood", c.WithEvidence == 1000, c.Label())
	}
}

// EN 149, EN 140, EN 136 P2 and P3 and EN 12941 as printed in a British trade
// catalogue's table of standards; full face P3, TH3 and TM3 also in COSHH essentials
// R4 and, for power-assisted full face, HSE CRR 282/2000. EN 136 with P1, TM1, TM2 and
// the powered half mask are from memory, and marked so in the table.
func TestPublishedFactorsUK(t *testing.T) {
	checkRows(t, "uk", "HSG53 and BS EN 529:2005 (UK), as reprinted", []row{
		{"FFP1 (filtering half mask, EN 149)", 4}, {"FFP2 (filtering half mask, EN 149)", 10}, {"FFP3 (filtering half mask, EN 149)", 20},
		{"P1 (half or quarter mask, EN 140)", 4}, {"P2 (half or quarter mask, EN 140)", 10}, {"P3 (half or quarter mask, EN 140)", 20},
		{"P1 (full face mask, EN 136)", 4}, {"P2 (full face mask, EN 136)", 10}, {"P3 (full face mask, EN 136)", 40},
		{"TH1 (powered hood or helmet, EN 12941)", 10}, {"TH2 (powered hood or helmet, EN 12941)", 20}, {"TH3 (powered hood or helmet, EN 12941)", 40},
		{"TM1 (powered full or half mask, EN 12942)", 10}, {"TM2 (powered full or half mask, EN 12942)", 20},
		{"TM3 (powered half mask, EN 12942)", 20}, {"TM3 (powered full face mask, EN 12942)", 40},
	})
	for _, c := range table(t, "uk").Classes {
		memory := c.Filter == "TM1" || c.Filter == "TM2" || c.Type == "powered half mask" || c.Type == "full face mask" && c.Filter == "P1"
		require.Equal(t, memory, c.Provenance == "memory", c.Label())
	}
}

// What the German rule prints is the multiple of the limit up to which a class may be
// used. Masks as reprinted in two makers' instructions and a glossary of respiratory
// protection, full face masks also in a statutory insurer's table after BGR 190; TH1P to
// TH3P and TM3P in one maker's instructions.
func TestPublishedFactorsGermany(t *testing.T) {
	checkRows(t, "de", "DGUV Regel 112-190, multiples of the limit, as reprinted", []row{
		{"FFP1 (filtering half mask, EN 149)", 4}, {"FFP2 (filtering half mask, EN 149)", 10}, {"FFP3 (filtering half mask, EN 149)", 30},
		{"P1 (half or quarter mask, EN 140)", 4}, {"P2 (half or quarter mask, EN 140)", 10}, {"P3 (half or quarter mask, EN 140)", 30},
		{"P1 (full face mask, EN 136)", 4}, {"P2 (full face mask, EN 136)", 15}, {"P3 (full face mask, EN 136)", 400},
		{"TH1P (powered hood or helmet, EN 12941)", 5}, {"TH2P (powered hood or helmet, EN 12941)", 20}, {"TH3P (powered hood or helmet, EN 12941)", 100},
		{"TM3P (powered full face mask, EN 12942)", 500},
	})
	require.Contains(t, published(t).Elsewhere.String(), "FFP3 counts 20 in the United Kingdom and 30 in Germany, a full face mask with P3 40 and 400")
}

// The stricter recommendations: NIOSH's Pocket Guide, wood dust, names only respirators
// with APF 10,000 at any concentration above its limit; British woodworking guidance asks
// for 20 whatever is measured.
func TestPublishedStricterRecommendations(t *testing.T) {
	got := map[string]float64{}
	for _, s := range published(t).Stricter {
		got[s.ID] = s.APF
	}
	validation.Check(t, "NIOSH Pocket Guide, wood dust: lowest factor listed", "NIOSH Pocket Guide npgd0667", 10000, got["niosh-pocket-guide"], 0)
	validation.Check(t, "British woodworking guidance: lowest factor", "HSE's advice to woodworking, as reported in the trade", 20, got["uk-woodworking"], 0)
	require.Len(t, got, 2)
}

// What is printed beside an answer promises nothing.
func TestNoWordPromises(t *testing.T) {
	text, err := json.Marshal(published(t))
	require.NoError(t, err)
	require.NotRegexp(t, `(?i)\b(safe|safely|compliant|compliance|complies|harmless|no respirator (is )?(needed|required))\b`, string(text))
}

// lowest names the classes of a table with the lowest factor that covers a ratio.
func lowest(t *testing.T, id string, ratio float64) (apf float64, labels []string) {
	t.Helper()
	for _, c := range published(t).Covering(ratio, false) {
		if c.Table != id {
			continue
		}
		for _, class := range c.Covers {
			if class.APF == c.Covers[0].APF {
				apf, labels = class.APF, append(labels, class.Label())
			}
		}
	}
	return apf, labels
}

func TestPublishedMUC(t *testing.T) {
	for _, c := range []struct {
		what, source     string
		apf, limit, want float64
	}{
		{"lead, half mask, 0.05 mg/m³: MUC, mg/m³", "course on 29 CFR 1910.134, maximum use concentration: 500 µg/m³", 10, 0.05, 0.5},
		{"half mask, limit 2 mg/m³: MUC, mg/m³", "29 CFR 1910.134(b), APF × limit (computed)", 10, 2, 20},
		{"loose-fitting powered, limit 1 mg/m³: MUC, mg/m³", "29 CFR 1910.134(b), APF × limit (computed)", 25, 1, 25},
	} {
		got, err := respirator.MUC(c.apf, c.limit)
		require.NoError(t, err)
		validation.Check(t, c.what, c.source, c.want, got, 1e-12)
	}
}

func TestPublishedHazardRatio(t *testing.T) {
	for _, c := range []struct {
		what, source string
		mgM3, limit  float64
		want         float64
		tolerance    float64
		table        string
		apf          float64 // lowest that covers
		label        string
	}{
		{"wood dust 60 mg/m³, limit 5: hazard ratio", "British trade catalogue's guide to selection, woodworking example", 60, 5, 12, 0, "uk", 20, "FFP3 (filtering half mask, EN 149)"},
		{"wood dust 45 mg/m³, limit 5: hazard ratio", "Irish safety supplier's guide, wood dust example: P2", 45, 5, 9, 0, "uk", 10, "P2 (half or quarter mask, EN 140)"},
		{"substance at 6 to 8 mg/m³, limit 1: hazard ratio", "Australian fit-testing programme, required minimum protection factor", 8, 1, 8, 0, "us", 10, "half mask, air-purifying"},
		{"14 mg/m³, British hardwood limit 3: hazard ratio", "C/L, BS EN 529 (computed)", 14, 3, 4.667, 0.0005, "uk", 10, "FFP2 (filtering half mask, EN 149)"},
	} {
		got, err := respirator.HazardRatio(c.mgM3, c.limit)
		require.NoError(t, err)
		validation.Check(t, c.what, c.source, c.want, got, c.tolerance)
		apf, labels := lowest(t, c.table, got)
		require.Equal(t, c.apf, apf, c.what)
		require.Contains(t, labels, c.label, c.what)
	}
}

func TestPublishedEffectiveProtection(t *testing.T) {
	got, err := respirator.EffectiveProtection(20, 0.9)
	require.NoError(t, err)
	validation.Check(t, "factor 20 worn 90 % of the time: effective factor", "1/((1−f) + f/APF) (computed)", 6.897, got, 0.0005)
}

// Never worn it is worth nothing, always worn all of it, and between the two it
// rises; a share of a hundredth unworn caps any factor at 100.
func TestEffectiveProtectionLaws(t *testing.T) {
	for _, apf := range []float64{1, 4, 10, 50, 1000, 10000} {
		before := 0.0
		for f := 0.0; f <= 1; f += 0.05 {
			got, err := respirator.EffectiveProtection(apf, f)
			require.NoError(t, err)
			require.GreaterOrEqual(t, got, before)
			require.LessOrEqual(t, got, apf*(1+1e-12))
			before = got
		}
		never, _ := respirator.EffectiveProtection(apf, 0)
		always, _ := respirator.EffectiveProtection(apf, 1)
		require.Equal(t, 1.0, never)
		require.InDelta(t, apf, always, 1e-9)
		capped, _ := respirator.EffectiveProtection(apf, 0.99)
		require.Less(t, capped, 100.0)
	}
}

func TestNumbersThatAreNone(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), -1} {
		_, err := respirator.HazardRatio(x, 1)
		require.Error(t, err)
		_, err = respirator.HazardRatio(1, x)
		require.Error(t, err)
		_, err = respirator.MUC(x, 1)
		require.Error(t, err)
		_, err = respirator.MUC(10, x)
		require.Error(t, err)
		_, err = respirator.EffectiveProtection(x, 0.5)
		require.Error(t, err)
		_, err = respirator.EffectiveProtection(10, x)
		require.Error(t, err)
	}
	_, err := respirator.MUC(0.5, 1)
	require.Error(t, err)
}

// Every class is either said to cover or to be too low, in order, whatever the
// ratio; a ratio that nobody can cover leaves none.
func TestCoveringLeavesNoClassOut(t *testing.T) {
	for _, ratio := range []float64{0, 0.5, 1, 4, 4.0001, 10, 19.9, 20, 39, 999, 10000, 10001, math.Inf(1)} {
		for i, c := range published(t).Covering(ratio, false) {
			require.Len(t, append(append([]respirator.Class{}, c.Covers...), c.TooLow...), len(published(t).Tables[i].Classes))
			for k, class := range c.Covers {
				require.GreaterOrEqual(t, class.APF, ratio)
				require.True(t, k == 0 || class.APF >= c.Covers[k-1].APF)
			}
			for _, class := range c.TooLow {
				require.Less(t, class.APF, ratio)
			}
		}
	}
	// A lower bound shows of no class that it is enough.
	for i, c := range published(t).Covering(12, true) {
		require.Empty(t, c.Covers)
		require.Equal(t, published(t).Covering(12, false)[i].Covers, c.NotRuledOut)
		require.Equal(t, published(t).Covering(12, false)[i].TooLow, c.TooLow)
	}
	// Without its maker's evidence a hood does not cover 100.
	for _, class := range published(t).Covering(100, false)[0].Covers {
		require.NotEqual(t, "helmet or hood, powered air-purifying", class.Label())
	}
}

func TestEveryEntryHasItsSource(t *testing.T) {
	f := published(t)
	require.NotEmpty(t, f.Elsewhere)
	for _, table := range f.Tables {
		require.NotEmpty(t, table.Source)
		for _, c := range table.Classes {
			require.Contains(t, []string{"read", "memory"}, c.Provenance, c.Label())
		}
	}
	ids := map[string]bool{}
	for _, c := range f.Cautions {
		require.NotEmpty(t, c.Source, c.ID)
		require.Contains(t, []string{"always", "classes", "loose dust"}, c.When, c.ID)
		require.False(t, ids[c.ID], c.ID)
		ids[c.ID] = true
	}
	for _, s := range f.Stricter {
		require.NotEmpty(t, s.Source, s.ID)
	}
	require.Len(t, f.Matter(false, false), 1)
	require.Len(t, f.Matter(true, true), len(f.Cautions))
}
