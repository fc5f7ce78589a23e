package exposure

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// oneShift assesses one sensor over one declared 8-h shift.
func oneShift(t *testing.T, limit string, s *dust.Series, change ...func(*Input)) ShiftResult {
	t.Helper()
	in := Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{s}, Limit: mustLimit(t, limit), DeclaredShift: true}
	for _, c := range change {
		c(&in)
	}
	r := mustAssess(t, in)
	require.Len(t, r.Shifts, 1)
	require.NotEmpty(t, r.Shifts[0].Why)
	return r.Shifts[0]
}

// respirableFactor: ratio of means of three filter pairs, by hand from 0.42, 0.61
// and 0.35 mg/m³ over 0.13, 0.17 and 0.10: 1.38/0.40 = 3.45.
var respirableFactor = Factor{Factor: 3.45, Fraction: RespirableFraction, SpreadPercent: 20, Source: "three filter pairs", Date: "2026-02-01", Material: "oak"}

func withFactor(f Factor) func(*Input) {
	return func(in *Input) { in.Factors = map[string][]Factor{"collar": {f}} }
}

func steadyDay(t *testing.T, position dust.Position, channel dust.Channel, microgram float64) *dust.Series {
	return seriesOf(t, position, channel, steady{0, hours(8), microgram, 0})
}

func TestNothingToAssess(t *testing.T) {
	limit := mustLimit(t, "eu-cmrd")
	empty := dust.NewSeries(dust.Sensor{Name: "a"}, dust.PM25)
	full := steadyDay(t, dust.BreathingZone, dust.PM25, 10)
	for name, in := range map[string]Input{
		"no series":    {Shifts: []dust.Shift{shiftOf(hours(8))}, Limit: limit},
		"empty series": {Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{empty, nil}, Limit: limit},
		"no shifts":    {Series: []*dust.Series{full}, Limit: limit},
		"another day":  {Shifts: []dust.Shift{{Date: "2025-01-01", Start: at(-hours(1000)), End: at(-hours(992))}}, Series: []*dust.Series{full}, Limit: limit},
		"ends first":   {Shifts: []dust.Shift{{Date: "2026-03-02", Start: at(hours(8)), End: start}}, Series: []*dust.Series{full}, Limit: limit},
	} {
		_, err := Assess(in)
		require.ErrorIs(t, err, dust.ErrNoReadings, name)
	}
	_, err := Assess(Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{full}})
	require.ErrorContains(t, err, "no limit chosen")
	_, err = Assess(Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{steadyDay(t, dust.BreathingZone, dust.N03, 5)}, Limit: limit})
	require.ErrorContains(t, err, "n0_3")
}

// By hand: 2 h at 1200 µg/m³ measured of 8 h; TWA 2.4/8 = 0.3, mean and filled 1.2.
func TestShiftNumbers(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25,
		steady{0, time.Minute, 9999, dust.WarmUp},
		steady{hours(1), hours(3), 1200, 0},
		steady{hours(4), hours(4) + 2*time.Minute, 50, dust.Stuck | dust.Humid})
	r := oneShift(t, "eu-cmrd", s)
	// The last reading before a gap speaks for the 5 s hold, 4 s longer than its second.
	extra := 4.0 / 3600
	require.InDelta(t, 1.2*(2+extra)/8, *r.TWA8h, 1e-12)
	require.InDelta(t, 1.2, *r.MeasuredMean, 1e-12)
	require.InDelta(t, 1.2, *r.TWA8hFilled, 1e-12)
	require.InDelta(t, 1.2, *r.Max15min, 1e-12)
	require.InDelta(t, 480, r.Minutes, 1e-9)
	require.InDelta(t, 120+4.0/60, r.MinutesMeasured, 1e-9)
	require.InDelta(t, 1+4.0/60, r.MinutesExcluded["warm_up"], 1e-9)
	require.InDelta(t, 2+4.0/60, r.MinutesExcluded["stuck"], 1e-9)
	require.Len(t, r.MinutesExcluded, 2)
	require.InDelta(t, *r.TWA8h/2, *r.ShareOfLimit, 1e-12)
	require.InDelta(t, 480, r.ComparedOverMinutes, 0)
	require.Equal(t, CannotTell, r.Finding)
	require.Contains(t, r.Why.String(), "only 25 % of the shift")
}

func TestSilentShiftSaysWhy(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(8), 0, dust.AllZero})
	r := oneShift(t, "eu-cmrd", s)
	require.Nil(t, r.TWA8h)
	require.Nil(t, r.TWA8hFilled)
	require.Nil(t, r.MeasuredMean)
	require.Nil(t, r.Max15min)
	require.Nil(t, r.ShareOfLimit)
	require.Empty(t, r.TaskDoseShares)
	require.Equal(t, CannotTell, r.Finding)
	require.Contains(t, r.Why.String(), "all_zero 480 min")
}

func TestValuesThatAreNoNumbersAreNotMeasured(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), math.NaN(), 0}, steady{hours(1), hours(2), -3, 0}, steady{hours(2), hours(8), 100, 0})
	r := oneShift(t, "eu-cmrd", s)
	require.InDelta(t, 60, r.MinutesExcluded["missing_value"], 1e-9)
	require.InDelta(t, 60, r.MinutesExcluded["negative_mass"], 1e-9)
	require.InDelta(t, 0.1, *r.MeasuredMean, 1e-12)
	require.InDelta(t, 0.075, *r.TWA8h, 1e-12)
}

func TestUncalibratedFindings(t *testing.T) {
	for _, c := range []struct {
		name    string
		limit   string
		channel dust.Channel
		level   float64
		want    Finding
		why     string
	}{
		{"fine part above inhalable", "eu-cmrd", dust.PM25, 2500, Over, "confirm with a gravimetric sample"},
		{"fine part above total", "us-niosh-rel", dust.PM1, 1500, Over, "fine part alone"},
		{"fine part above respirable", "de-aswg-a", dust.PM25Atm, 1500, Over, "fine part alone"},
		{"fine part above an unstated fraction", "us-ca-wood", dust.PM25, 2500, Over, "fine part alone"},
		{"exactly at the limit", "eu-cmrd", dust.PM25, 2000, CannotTell, "lower bound"},
		{"below inhalable", "eu-cmrd", dust.PM25, 20, CannotTell, "10–70 µm"},
		{"below total", "us-osha-pnor-total", dust.PM25, 20, CannotTell, "coarse part of total dust"},
		{"below respirable", "de-aswg-a", dust.PM25, 20, CannotTell, "72 %"},
		{"below unstated", "us-ca-wood", dust.PM25, 20, CannotTell, "does not state its fraction"},
		{"PM10 above", "eu-cmrd", dust.PM10, 9000, CannotTell, "extrapolated"},
		{"PM10 atmospheric above", "eu-cmrd", dust.PM10Atm, 9000, CannotTell, "extrapolated"},
		{"PM4 above", "de-aswg-a", dust.PM4, 9000, CannotTell, "extrapolated"},
		{"PM10 below", "eu-cmrd", dust.PM10, 20, CannotTell, "lower bound"},
	} {
		r := oneShift(t, c.limit, steadyDay(t, dust.BreathingZone, c.channel, c.level))
		require.Equal(t, c.want, r.Finding, c.name)
		require.Contains(t, r.Why.String(), c.why, c.name)
		require.Contains(t, r.Fraction.String(), "uncalibrated", c.name)
		require.Nil(t, r.WithFactor, c.name)
	}
}

func TestFactorFindings(t *testing.T) {
	big := func(f Factor, change func(*Factor)) Factor { change(&f); return f }
	day := func(level float64) *dust.Series { return steadyDay(t, dust.BreathingZone, dust.PM25, level) }
	for _, c := range []struct {
		name   string
		limit  string
		series *dust.Series
		factor Factor
		want   Finding
		why    string
	}{
		// 1.25 mg/m³ over 3.45 · 0.8 is 0.4529; over 3.45 · 1.2 it is 0.3019.
		{"above with the spread taken off", "de-aswg-a", day(453), respirableFactor, Over, "less its spread"},
		{"spread reaches below the limit", "de-aswg-a", day(452), respirableFactor, CannotTell, "as high as"},
		{"spread reaches above the limit", "de-aswg-a", day(302), respirableFactor, CannotTell, "as high as"},
		{"below with the spread added", "de-aswg-a", day(301), respirableFactor, Under, "not the goal"},
		{"no spread stated", "de-aswg-a", day(10), big(respirableFactor, func(f *Factor) { f.SpreadPercent = 0 }), CannotTell, "no stated spread"},
		{"another fraction, low", "eu-cmrd", day(10), respirableFactor, CannotTell, "it is for the respirable fraction"},
		{"another fraction, high", "eu-cmrd", day(2500), respirableFactor, Over, "it is for the respirable fraction"},
		{"inhalable never under", "eu-cmrd", day(10), big(respirableFactor, func(f *Factor) { f.Fraction = InhalableFraction }), CannotTell, "drift when the sizes"},
		{"inhalable over", "eu-cmrd", day(2000), big(respirableFactor, func(f *Factor) { f.Fraction = InhalableFraction }), Over, "at least"},
		{"total never under", "us-osha-pnor-total", day(10), big(respirableFactor, func(f *Factor) { f.Fraction = TotalFraction }), CannotTell, "drift when the sizes"},
		{"unstated limit", "us-ca-wood", day(10), big(respirableFactor, func(f *Factor) { f.Fraction = NotStatedFraction }), CannotTell, "fraction is not stated"},
		{"factor is nonsense", "de-aswg-a", day(10), big(respirableFactor, func(f *Factor) { f.Factor = -1 }), CannotTell, "must be numbers"},
		{"factor is NaN", "de-aswg-a", day(10), big(respirableFactor, func(f *Factor) { f.Factor = math.NaN() }), CannotTell, "must be numbers"},
		{"PM10 never under", "de-aswg-a", steadyDay(t, dust.BreathingZone, dust.PM10, 10), respirableFactor, CannotTell, "extrapolated"},
		{"PM10 over with a factor", "de-aswg-a", steadyDay(t, dust.BreathingZone, dust.PM10, 900), respirableFactor, Over, "at least"},
		{"room never under", "de-aswg-a", steadyDay(t, dust.Room, dust.PM25, 10), respirableFactor, CannotTell, "an area reading"},
		{"room over", "de-aswg-a", steadyDay(t, dust.Room, dust.PM25, 900), respirableFactor, Over, "an area reading, not personal exposure"},
		{"sensor over-reads", "eu-cmrd", day(2500), big(respirableFactor, func(f *Factor) { f.Factor = 0.5 }), CannotTell, "over-reads"},
	} {
		r := oneShift(t, c.limit, c.series, withFactor(c.factor))
		require.Equal(t, c.want, r.Finding, "%s: %s", c.name, r.Why)
		require.Contains(t, r.Why.String(), c.why, c.name)
	}
}

func TestFactorHoldsForItsMaterialOnly(t *testing.T) {
	s := steadyDay(t, dust.BreathingZone, dust.PM25, 10)
	work := func(material string) func(*Input) {
		return func(in *Input) {
			in.Tasks = []dust.Task{{Name: "planing", Material: material, Start: at(hours(1)), Stop: at(hours(2))}}
		}
	}
	require.Equal(t, Under, oneShift(t, "de-aswg-a", s, withFactor(respirableFactor), work("Oak")).Finding)
	require.Equal(t, Under, oneShift(t, "de-aswg-a", s, withFactor(respirableFactor), work("")).Finding)
	other := oneShift(t, "de-aswg-a", s, withFactor(respirableFactor), work("MDF"))
	require.Equal(t, CannotTell, other.Finding)
	require.Contains(t, other.Why.String(), "MDF was worked")
}

func TestFactorNumbersStandBesideTheReading(t *testing.T) {
	r := oneShift(t, "de-aswg-a", steadyDay(t, dust.BreathingZone, dust.PM25, 100), withFactor(respirableFactor))
	require.InDelta(t, 0.1, *r.TWA8h, 1e-12)
	require.InDelta(t, 0.345, *r.WithFactor, 1e-12)
	require.InDelta(t, 0.345/1.25, *r.ShareOfLimit, 1e-12)
	require.Equal(t, respirableFactor, *r.Factor)
	require.Contains(t, r.Fraction.String(), "respirable")
}

func TestPlacesWhereNobodyBreathes(t *testing.T) {
	for _, p := range []dust.Position{dust.Exhaust, dust.Background, dust.Upstream, dust.Downstream, ""} {
		r := oneShift(t, "eu-cmrd", steadyDay(t, p, dust.PM25, 9000))
		require.Equal(t, CannotTell, r.Finding, p)
		require.InDelta(t, 9, *r.TWA8h, 1e-9, "numbers are shown all the same")
		require.NotNil(t, r.Max15min)
	}
}

func TestCoverageRule(t *testing.T) {
	day := func(h float64) *dust.Series {
		return seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(h), 100, 0})
	}
	require.Equal(t, Under, oneShift(t, "de-aswg-a", day(6), withFactor(respirableFactor)).Finding)
	few := oneShift(t, "de-aswg-a", day(5.9), withFactor(respirableFactor))
	require.Equal(t, CannotTell, few.Finding)
	require.Contains(t, few.Why.String(), "less than 75 %")
	require.Equal(t, 1, strings.Count(few.Why.String(), "less than 75 %"), "said once")
	// 4 h at 4 mg/m³ and nothing known of the rest: already 2 mg/m³ over 8 h.
	half := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(4), 4000, 0})
	require.Equal(t, Over, oneShift(t, "de-aswg-a", half).Finding)
	// Unmeasured time counts as like the measured before anything is called under:
	// 6 of 8 h at 350·3.45·1.2 = 1.449, but 1.087 with the rest at zero.
	filled := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(6.5), 350, 0})
	require.Equal(t, CannotTell, oneShift(t, "de-aswg-a", filled, withFactor(respirableFactor)).Finding)
}

func TestSaturatedTime(t *testing.T) {
	day := func(top time.Duration) *dust.Series {
		return seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, top, 100, dust.Saturated}, steady{top, hours(8), 100, 0})
	}
	little := oneShift(t, "de-aswg-a", day(4*time.Minute), withFactor(respirableFactor))
	require.Equal(t, Under, little.Finding)
	much := oneShift(t, "de-aswg-a", day(5*time.Minute), withFactor(respirableFactor))
	require.Equal(t, CannotTell, much.Finding)
	require.InDelta(t, 5.0/480, much.SaturatedShare, 1e-9)
	require.Contains(t, much.Why.String(), "top of the sensor's range")
}

func TestUndeclaredHoursNeverGiveUnder(t *testing.T) {
	r := oneShift(t, "de-aswg-a", steadyDay(t, dust.BreathingZone, dust.PM25, 10), withFactor(respirableFactor), func(in *Input) { in.DeclaredShift = false })
	require.Equal(t, CannotTell, r.Finding)
	require.Contains(t, r.Why.String(), "first and last reading")
}

func TestHumidTimeIsNamed(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(2), 2500, dust.Humid}, steady{hours(2), hours(8), 2500, 0})
	r := oneShift(t, "eu-cmrd", s)
	require.Equal(t, Over, r.Finding)
	require.Contains(t, r.Why.String(), "above 75 % for 25 %")
}

// 15-min limits are compared with the highest 15 minutes: 20 min at 20 mg/m³ is
// above 16, though only 0.83 mg/m³ over 8 h.
func TestFifteenMinuteLimit(t *testing.T) {
	burst := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), 1, 0}, steady{hours(1), hours(1) + 20*time.Minute, 20000, 0}, steady{hours(2), hours(8), 1, 0})
	r := oneShift(t, "de-hard-st", burst)
	require.Equal(t, Over, r.Finding)
	require.InDelta(t, 20.0/16, *r.ShareOfLimit, 1e-9)
	require.InDelta(t, 15, r.ComparedOverMinutes, 0)
	require.False(t, r.Max15minStart.Before(at(hours(1))))

	short := Limit{ID: "test", Body: "none", MgM3: 3, Fraction: RespirableFraction, FractionPrinted: "respirable", Averaging: FifteenMinutes}
	with := func(in *Input) { in.Limit = short }
	require.Equal(t, Under, oneShift(t, "de-aswg-a", steadyDay(t, dust.BreathingZone, dust.PM25, 100), withFactor(respirableFactor), with).Finding)
	gap := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), 100, 0}, steady{hours(1.3), hours(8), 100, 0})
	missed := oneShift(t, "de-aswg-a", gap, withFactor(respirableFactor), with)
	require.Equal(t, CannotTell, missed.Finding)
	require.Contains(t, missed.Why.String(), "15-minute windows")

	r = oneShift(t, "de-hard-st", seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, 5 * time.Minute, 100, 0}))
	require.Nil(t, r.Max15min)
	require.Nil(t, r.ShareOfLimit)
	require.Equal(t, CannotTell, r.Finding)
	require.Contains(t, r.Why.String(), ErrNoFullWindow.Error())
}

func TestShortShiftHasNoPeakAndSaysWhy(t *testing.T) {
	s := steadyDay(t, dust.BreathingZone, dust.PM25, 10)
	r := oneShift(t, "eu-cmrd", s, func(in *Input) { in.Shifts = []dust.Shift{shiftOf(10 * time.Minute)} })
	require.Nil(t, r.Max15min)
	require.Nil(t, r.Max15minStart)
	require.Contains(t, r.Why.String(), "shorter than 15 minutes")
}

// A 10-h shift at 1.1 mg/m³: 1.375 by 8 h, 1.1 by the shift's own length.
func TestTenHourLimit(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(10), 1100, 0})
	r := oneShift(t, "us-niosh-rel", s, func(in *Input) { in.Shifts = []dust.Shift{shiftOf(hours(10))} })
	require.InDelta(t, 1.375, *r.TWA8h, 1e-9)
	require.InDelta(t, 1.1, *r.ShareOfLimit, 1e-9)
	require.InDelta(t, 600, r.ComparedOverMinutes, 0)
	require.Equal(t, Over, r.Finding)
}

func TestHoldTimeBoundsAGap(t *testing.T) {
	s := dust.NewSeries(dust.Sensor{Name: "collar", Position: dust.BreathingZone}, dust.PM25)
	s.Hold = 10 * time.Second
	require.NoError(t, s.Append(start, 100, 0))
	require.NoError(t, s.Append(at(time.Hour), 100, 0))
	r := oneShift(t, "eu-cmrd", s)
	require.InDelta(t, 20.0/60, r.MinutesMeasured, 1e-9)
}

func TestWarnings(t *testing.T) {
	room := steadyDay(t, dust.Room, dust.PM10, 10)
	in := Input{Shifts: []dust.Shift{shiftOf(hours(8)), {Date: "2026-03-03", Start: at(hours(30)), End: at(hours(30))}}, Series: []*dust.Series{room}, Limit: mustLimit(t, "nz-soft")}
	text := strings.Join(words.Strings(mustAssess(t, in).Warnings), "\n")
	for _, want := range []string{"no shift hours are declared", "doubtful", "softwood only", "extrapolated", "no sensor is in the breathing zone", "2026-03-03"} {
		require.Contains(t, text, want)
	}
	for id, want := range map[string]string{
		"eu-cmrd-trans": "no longer in force", "nz-all-proposed": "a proposal", "uk-dust-inh": "not a limit",
		"us-acgih-pnos-resp": "not for wood dust", "us-acgih-other": "western red cedar", "us-acgih-pnos-inh": "not looked up again",
		"au-hard": "1 December 2026",
	} {
		in.Limit = mustLimit(t, id)
		require.Contains(t, strings.Join(words.Strings(mustAssess(t, in).Warnings), "\n"), want, id)
	}
}

// Findings must not promise anything: the words below have no place in them.
func TestWordsThatAreNeverSaid(t *testing.T) {
	for _, level := range []float64{1, 301, 453, 9000} {
		for _, id := range []string{"de-aswg-a", "eu-cmrd"} {
			text, err := json.Marshal(mustAssess(t, Input{
				Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{steadyDay(t, dust.BreathingZone, dust.PM25, level)},
				Tasks: []dust.Task{{Name: "assembly", Material: "oak", Start: at(hours(1)), Stop: at(hours(2))}},
				Limit: mustLimit(t, id), Factors: map[string][]Factor{"collar": {respirableFactor}}, DeclaredShift: true,
			}))
			require.NoError(t, err, "every number must be finite")
			for _, word := range []string{"safe", "complian", "not needed", "harmless"} {
				require.NotContains(t, strings.ToLower(string(text)), word)
			}
		}
	}
}

func TestAbsurdNumbersStayFinite(t *testing.T) {
	s := steadyDay(t, dust.BreathingZone, dust.PM25, math.MaxFloat64)
	r := mustAssess(t, Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{s}, Limit: mustLimit(t, "eu-cmrd"), DeclaredShift: true,
		Tasks: []dust.Task{{Name: "x", Start: start, Stop: at(hours(1))}}})
	_, err := json.Marshal(r)
	require.NoError(t, err)
	require.Nil(t, r.Shifts[0].TWA8h)
	require.Equal(t, CannotTell, r.Shifts[0].Finding)
	require.NotEmpty(t, r.Tasks[0].Why)
}
