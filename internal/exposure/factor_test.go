package exposure

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// onRecord is a factor of oak, from 1 February 2026 for a year.
var onRecord = Factor{
	ID: "7", Factor: 3.45, Fraction: RespirableFraction, Metric: "pm2_5", SpreadPercent: 6, UncertaintyPercent: 25, Pairs: 3,
	Source: "NIOSH 0600, 3 pairs", Date: "2026-02-03", ValidFrom: "2026-02-01", Expires: "2027-02-03", Material: "oak",
}

func like(f Factor, change func(*Factor)) Factor {
	change(&f)
	return f
}

func respirableUse(t *testing.T) factorUse {
	return factorUse{limit: mustLimit(t, "de-aswg-a"), channel: dust.PM25, date: "2026-03-02", materials: []string{"oak"}, tasks: []string{"sawing"}}
}

func TestWhyAFactorIsNotUsed(t *testing.T) {
	for name, c := range map[string]struct {
		factor Factor
		use    func(*factorUse)
		why    string
	}{
		"it fits":           {onRecord, func(*factorUse) {}, ""},
		"case and blanks":   {onRecord, func(u *factorUse) { u.materials = []string{" Oak"} }, ""},
		"first day":         {onRecord, func(u *factorUse) { u.date = "2026-02-01" }, ""},
		"last day":          {onRecord, func(u *factorUse) { u.date = "2027-02-03" }, ""},
		"too early":         {onRecord, func(u *factorUse) { u.date = "2026-01-31" }, "it holds from 2026-02-01 on"},
		"too late":          {onRecord, func(u *factorUse) { u.date = "2027-02-04" }, "it expired after 2027-02-03"},
		"other material":    {onRecord, func(u *factorUse) { u.materials = []string{"oak", "MDF"} }, "it comes from oak, and MDF was worked"},
		"other channel":     {onRecord, func(u *factorUse) { u.channel = dust.PM10 }, "it is for pm2_5, this is pm10"},
		"other mass scale":  {onRecord, func(u *factorUse) { u.channel = dust.PM25Atm }, "this is pm2_5_atm"},
		"other fraction":    {onRecord, func(u *factorUse) { u.limit = mustLimit(t, "eu-cmrd") }, "it is for the respirable fraction"},
		"other task":        {like(onRecord, func(f *Factor) { f.Task = "sanding" }), func(*factorUse) {}, "it comes from sanding, and sawing was done"},
		"that task":         {like(onRecord, func(f *Factor) { f.Task = "Sawing" }), func(*factorUse) {}, ""},
		"too few pairs":     {like(onRecord, func(f *Factor) { f.Unusable = "2 of at least 3 pairs" }), func(*factorUse) {}, "2 of at least 3 pairs"},
		"nonsense":          {like(onRecord, func(f *Factor) { f.UncertaintyPercent = -1 }), func(*factorUse) {}, "must be numbers"},
		"nonsense zero":     {like(onRecord, func(f *Factor) { f.ZeroMgM3 = -1 }), func(*factorUse) {}, "must be numbers"},
		"no diary: allowed": {onRecord, func(u *factorUse) { u.materials, u.tasks = nil, nil }, ""},
	} {
		u := respirableUse(t)
		c.use(&u)
		chosen := calibrate([]Factor{c.factor}, u)
		require.Equal(t, c.why == "", chosen.use, "%s: %s", name, chosen.note)
		require.Contains(t, chosen.note.String(), c.why, name)
		require.Contains(t, chosen.note.String(), "calibration 7 of 2026-02-03", name)
	}
}

func TestTheFactorThatFitsIsChosen(t *testing.T) {
	anyDust := like(onRecord, func(f *Factor) { f.ID, f.Material = "1", "" })
	older := like(onRecord, func(f *Factor) { f.ID, f.ValidFrom = "2", "2026-01-01" })
	newer := like(onRecord, func(f *Factor) { f.ID, f.ValidFrom = "3", "2026-02-20" })
	next := like(onRecord, func(f *Factor) { f.ID, f.ValidFrom = "4", "2026-03-03" })
	mdf := like(onRecord, func(f *Factor) { f.ID, f.Material = "5", "MDF" })
	sawing := like(onRecord, func(f *Factor) { f.ID, f.Task = "6", "sawing" })
	for _, c := range []struct {
		want    string
		factors []Factor
	}{
		{"3", []Factor{anyDust, older, newer, next, mdf}},
		{"3", []Factor{mdf, next, newer, older, anyDust}},
		{"2", []Factor{older, next, mdf}},
		{"1", []Factor{mdf, anyDust, next}},
		{"6", []Factor{newer, sawing, older}},
	} {
		chosen := calibrate(c.factors, respirableUse(t))
		require.True(t, chosen.use)
		require.Equal(t, c.want, chosen.ID, chosen.note)
	}
	none := calibrate([]Factor{mdf, next}, respirableUse(t))
	require.False(t, none.use)
	for _, part := range []string{"none of the sensor's 2 factors", "calibration 5", "it comes from MDF", "calibration 4", "it holds from 2026-03-03 on"} {
		require.Contains(t, none.note.String(), part)
	}
}

func TestAssumptionsAreTold(t *testing.T) {
	u := respirableUse(t)
	u.materials, u.tasks = nil, nil
	chosen := calibrate([]Factor{like(onRecord, func(f *Factor) { f.Task = "sawing" })}, u)
	require.Contains(t, chosen.note.String(), "(oak, which the diary does not name) (sawing, which the diary does not name)")
	old := like(respirableFactor, func(f *Factor) { f.Date = "2025-02-01" }) // of the configuration, without a last day
	require.Contains(t, calibrate([]Factor{old}, respirableUse(t)).note.String(), "more than a year old")
	require.NotContains(t, calibrate([]Factor{respirableFactor}, respirableUse(t)).note.String(), "year old")
}

// 400 µg/m³ · 3.45 = 1.38 mg/m³; 25 % either way as a ratio: 1.104 to 1.725.
func TestUncertaintyTravelsIntoTheValue(t *testing.T) {
	r := oneShift(t, "de-aswg-a", steadyDay(t, dust.BreathingZone, dust.PM25, 400), withFactor(onRecord))
	require.InDelta(t, 1.38, *r.WithFactor, 1e-9)
	require.InDelta(t, 1.38/1.25, *r.WithFactorLow, 1e-9)
	require.InDelta(t, 1.38*1.25, *r.WithFactorHigh, 1e-9)
	require.Equal(t, CannotTell, r.Finding, "1.104 is below 1.25, 1.725 above")
	require.Contains(t, r.Why.String(), "1.38 mg/m³ (1.1 to 1.73) with the factor 3.45 (95 % for one new shift: 2.76 to 4.31)")
	require.Contains(t, r.Why.String(), "calibration 7 of 2026-02-03, NIOSH 0600, 3 pairs")
	require.Contains(t, r.Why.String(), "with the factor's uncertainty")
	require.Equal(t, onRecord, *r.Factor)
}

// The same readings, another factor: another finding. Limit 1.25 mg/m³.
func TestAChangedFactorChangesTheResult(t *testing.T) {
	series := steadyDay(t, dust.BreathingZone, dust.PM25, 400)
	for _, c := range []struct {
		change func(*Factor)
		want   Finding
	}{
		{func(*Factor) {}, CannotTell},
		{func(f *Factor) { f.Factor = 4 }, Over},              // 1.6/1.25 = 1.28
		{func(f *Factor) { f.Factor = 2.4 }, Under},           // 0.96·1.25 = 1.2
		{func(f *Factor) { f.UncertaintyPercent = 10 }, Over}, // 1.38/1.1 = 1.2545
		{func(f *Factor) { f.Expires = "2026-03-01" }, CannotTell},
	} {
		r := oneShift(t, "de-aswg-a", series, withFactor(like(onRecord, c.change)))
		require.Equal(t, c.want, r.Finding, r.Why)
		require.InDelta(t, 0.4, *r.TWA8h, 1e-12, "the reading itself stays")
	}
}

// Half the shift is measured: the zero is taken off for that half in the value,
// for the whole shift in the upper limit.
func TestTheZeroIsTakenOffForTheTimeMeasured(t *testing.T) {
	f := like(onRecord, func(f *Factor) { f.Factor, f.UncertaintyPercent, f.ZeroMgM3 = 2, 50, 0.010 })
	half := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(4) - 4*time.Second, 110, 0}) // the last reading speaks for 5 s
	r := oneShift(t, "de-aswg-a", half, withFactor(f))
	require.InDelta(t, 0.055, *r.TWA8h, 1e-12)
	require.InDelta(t, (0.055-0.005)*2, *r.WithFactor, 1e-12)
	require.InDelta(t, (0.055-0.005)*2*1.5, *r.WithFactorHigh, 1e-12)
	clean := oneShift(t, "de-aswg-a", steadyDay(t, dust.BreathingZone, dust.PM25, 5), withFactor(f))
	require.Zero(t, *clean.WithFactor, "never below zero")
	peak := oneShift(t, "de-hard-st", steadyDay(t, dust.BreathingZone, dust.PM25, 110), withFactor(like(f, func(f *Factor) { f.Fraction = InhalableFraction })))
	require.InDelta(t, (0.110-0.010)*2, *peak.WithFactor, 1e-9)
}

func TestAFactorOfTheTaskServesTheRespirator(t *testing.T) {
	var tasks []dust.Task
	for i := range 4 {
		tasks = append(tasks, dust.Task{ID: int64(i), Name: "assembly", Material: "oak", Start: at(hours(float64(2 * i))), Stop: at(hours(float64(2*i)) + 30*time.Minute)})
	}
	in := Input{
		Limit: mustLimit(t, "de-aswg-a"), DeclaredShift: true, Shifts: []dust.Shift{shiftOf(hours(8))}, Tasks: tasks,
		Series:  []*dust.Series{steadyDay(t, dust.BreathingZone, dust.PM25, 400)},
		Factors: map[string][]Factor{"collar": {like(onRecord, func(f *Factor) { f.Task = "assembly" }), like(onRecord, func(f *Factor) { f.ID, f.Task = "8", "sanding" })}},
	}
	m := mustAssess(t, in).Masks[0]
	require.InDelta(t, 1.38/1.25/1.25, *m.HazardRatioAtLeast, 1e-9)
	require.Equal(t, KeepOn, m.State)
	require.True(t, strings.Contains(m.Why.String(), "calibration 7"), m.Why)
}
