package exposure

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func contains(s, part string) bool { return strings.Contains(s, part) }

// Which genera are hardwood and softwood: IARC Monographs volume 62 (from memory).
func TestWoodOf(t *testing.T) {
	own := map[string]string{"Shop blend": "hardwood_or_mixed", "zebrano": "hardwood"}
	for material, want := range map[string]Wood{
		"oak": {Hard: true}, "White Oak kiln dried": {Hard: true}, "pine": {Soft: true}, "kauri pine": {Hard: true},
		"birch plywood": {Hard: true, Soft: true}, "MDF": {Hard: true, Soft: true}, "douglas fir": {Soft: true},
		"oak and pine": {Hard: true, Soft: true}, "spruce + ash": {Hard: true, Soft: true},
		"western red cedar": {Soft: true, Allergenic: true, RedCedar: true}, "cedar": {Soft: true, Allergenic: true, RedCedar: true},
		"teak": {Hard: true, Allergenic: true}, "spanish cedar": {Hard: true},
		"shop blend": {Hard: true, Soft: true}, "zebrano": {Hard: true},
	} {
		got, known := WoodOf(material, own)
		require.Equal(t, want, got, material)
		require.True(t, known, material)
	}
	for _, material := range []string{"", "   ", "washed stuff", "aluminium", "oak and unobtainium"} {
		_, known := WoodOf(material, own)
		require.False(t, known, material)
	}
}

// Where hardwood is mixed in, its limit holds for the whole dust: Directive
// 2004/37/EC annex III, EH40, TRGS 553.
func TestBearing(t *testing.T) {
	for _, c := range []struct {
		limit    string
		material string
		want     Bearing
	}{
		{"uk-hard", "oak", Applies}, {"uk-hard", "pine", DoesNotApply}, {"uk-hard", "pine, oak", Applies}, {"uk-hard", "", NotKnown},
		{"uk-soft", "oak", DoesNotApply}, {"uk-soft", "pine", Applies}, {"uk-soft", "pine, oak", DoesNotApply},
		{"uk-hard", "pine, unobtainium", NotKnown}, {"uk-soft", "pine, unobtainium", NotKnown}, {"uk-soft", "oak, unobtainium", DoesNotApply},
		{"uk-hard", "oak, unobtainium", Applies},
		{"us-acgih-wrc", "western red cedar", Applies}, {"us-acgih-other", "western red cedar", DoesNotApply},
		{"us-acgih-other", "oak", Applies}, {"us-acgih-wrc", "oak", DoesNotApply}, {"us-acgih-other", "unobtainium", NotKnown},
		{"us-wa-allerg", "teak", Applies}, {"us-wa-wood", "teak", DoesNotApply}, {"us-wa-wood", "maple", Applies},
		{"us-acgih-pnos-resp", "oak", DoesNotApply}, {"de-aswg-a", "oak", Applies}, {"us-niosh-rel", "", Applies},
	} {
		w, known := WoodOf(c.material, nil)
		var worked []string
		if c.material != "" {
			worked = strings.Split(c.material, ", ")
		}
		got, why := mustLimit(t, c.limit).bearing(w, known, worked)
		require.Equal(t, c.want, got, "%s with %q: %s", c.limit, c.material, why)
		require.Equal(t, got != Applies, !why.IsZero(), c.limit)
	}
}

func TestSeveralLimits(t *testing.T) {
	task := dust.Task{Name: "planing", Material: "pine", Start: at(0), Stop: at(hours(4))}
	in := Input{
		Shifts: []dust.Shift{shiftOf(hours(8))}, Limit: mustLimit(t, "uk-hard"),
		Also:   []Limit{mustLimit(t, "uk-soft"), mustLimit(t, "de-hard-st"), mustLimit(t, "us-niosh-rel")},
		Series: []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(8), 4000, 0})}, DeclaredShift: true,
	}
	find := func(r Result) (got []string) {
		for _, f := range r.Shifts[0].Limits {
			text := f.LimitID + " " + string(f.Finding) + " " + string(f.Bearing)
			if f.Governs {
				text += " governs"
			}
			got = append(got, text)
		}
		return got
	}
	in.Tasks = []dust.Task{task}
	require.Equal(t, []string{"uk-hard over does not apply", "uk-soft cannot tell applies governs", "de-hard-st cannot tell does not apply", "us-niosh-rel over applies governs"}, find(mustAssess(t, in)))
	require.Contains(t, mustAssess(t, in).Shifts[0].Why.String(), "not the limit for this wood: it is for hardwood, and pine was worked")
	in.Tasks[0].Material = "pine and oak"
	require.Equal(t, []string{"uk-hard over applies governs", "uk-soft cannot tell does not apply", "de-hard-st cannot tell applies governs", "us-niosh-rel over applies governs"}, find(mustAssess(t, in)))
	in.Tasks[0].Material = ""
	require.Equal(t, []string{"uk-hard over not known governs", "uk-soft cannot tell not known", "de-hard-st cannot tell not known governs", "us-niosh-rel over applies governs"}, find(mustAssess(t, in)))
	first := mustAssess(t, in).Shifts[0]
	require.Equal(t, first.Finding, first.Limits[0].Finding)
	require.Equal(t, first.Why, first.Limits[0].Why)
}

// Three assumptions on time that was not measured, by hand: 2 h of sanding at
// 0.9 mg/m³ and 2 h at 0.1 mg/m³ outside tasks, measured; 4 h not.
func TestUnmeasuredTimeThreeWays(t *testing.T) {
	r := mustAssess(t, Input{
		Shifts: []dust.Shift{shiftOf(hours(8))}, Limit: mustLimit(t, "uk-hard"), DeclaredShift: true,
		Tasks:  []dust.Task{{Name: "sanding", Start: at(0), Stop: at(hours(2))}},
		Series: []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(2), 900, 0}, steady{hours(2), hours(4), 100, 0})},
	}).Shifts[0]
	require.InDelta(t, (2*0.9+2*0.1)/8, *r.TWA8h, 1e-4)
	require.InDelta(t, 0.5, *r.TWA8hFilled, 1e-3)
	require.InDelta(t, (2*0.9+2*0.1+4*0.9)/8, *r.TWA8hWorst, 1e-3)
	require.Equal(t, "sanding", r.WorstTask)
	require.InDelta(t, 0.25, *r.TWAShift, 1e-4)
	sum := 0.0
	for _, d := range r.TaskDoseShares {
		sum += *d.TWA8hPart
	}
	require.InDelta(t, *r.TWA8h, sum, 1e-12)
	require.InDelta(t, 0.9, *r.TaskDoseShares[0].MeanMgM3, 1e-6)
}

func TestOwnLimits(t *testing.T) {
	built, err := BuiltInLimits()
	require.NoError(t, err)
	good := OwnLimit{ID: "shop-target", Value: "200 ug/m3", Fraction: "respirable", Averaging: "8 h", Source: "own target of 2026-03-02"}
	table, err := built.With([]OwnLimit{good})
	require.NoError(t, err)
	l, err := table.Choose("shop-target")
	require.NoError(t, err)
	require.InDelta(t, 0.2, l.MgM3, 1e-12)
	require.True(t, l.Own)
	require.Len(t, table.All(), len(built.All())+1)
	require.Contains(t, l.Label(), "200 µg/m³")
	for _, c := range []struct {
		change func(*OwnLimit)
		want   string
	}{
		{func(o *OwnLimit) { o.Source = " " }, "it has no source"},
		{func(o *OwnLimit) { o.ID = "uk-hard" }, "this id is taken"},
		{func(o *OwnLimit) { o.ID = "" }, "give it an id"},
		{func(o *OwnLimit) { o.Value = "0.2" }, "has no unit"},
		{func(o *OwnLimit) { o.Value = "0 mg/m3" }, "is not a number above zero"},
		{func(o *OwnLimit) { o.Value = "-1 mg/m3" }, "is not a number above zero"},
		{func(o *OwnLimit) { o.Fraction = "fine" }, "unknown dust fraction"},
		{func(o *OwnLimit) { o.Averaging = "1 h" }, "unknown averaging time"},
		{func(o *OwnLimit) { o.Averaging = "24 h" }, "for comparison only"},
		{func(o *OwnLimit) { o.Wood = "balsa" }, "unknown wood"},
	} {
		o := good
		c.change(&o)
		_, err := built.With([]OwnLimit{o})
		require.ErrorContains(t, err, c.want)
	}
}
