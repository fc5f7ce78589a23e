package calibrate

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// record is a result as a store keeps it.
func record(t *testing.T, id int64, kind dust.CalibrationKind, from time.Duration, result any) dust.Calibration {
	t.Helper()
	numbers, err := Numbers(result)
	require.NoError(t, err)
	return dust.Calibration{ID: id, Kind: kind, Sensor: "bench", Made: after(from + time.Hour), From: after(from), To: after(from + 20*time.Minute), Metric: "pm2_5", Numbers: numbers}
}

func TestNumbersRoundTrip(t *testing.T) {
	s := sample(t, total(t))
	s.PairWith(SensorBeside{Metric: "pm2_5", SensorMean: SensorMean{Mean: 300, MeasuredShare: 1}, ZeroID: 3, Zero: 0.5, Floor: 1})
	back, err := Read[FilterSample](record(t, 1, dust.FilterCalibration, 0, s), dust.FilterCalibration)
	require.NoError(t, err)
	require.Equal(t, s.Sensor, back.Sensor)
	require.Equal(t, s.Concentration, back.Concentration)
	require.Equal(t, s.Volume, back.Volume)
	require.Equal(t, s.WeighingSD, back.WeighingSD)
	require.Equal(t, "0501", back.ID)
	require.Equal(t, exposure.TotalFraction, back.Fraction)

	f := fit(t, threePairs...)
	same, err := Read[Fit](record(t, 1, dust.FactorCalibration, 0, f), dust.FactorCalibration)
	require.NoError(t, err)
	require.Equal(t, f, same)

	_, err = Read[Fit](record(t, 8, dust.FilterCalibration, 0, s), dust.FactorCalibration)
	require.ErrorContains(t, err, "calibration 8 is of kind")
	_, err = Read[Fit](dust.Calibration{ID: 9, Kind: dust.FactorCalibration, Numbers: "{"}, dust.FactorCalibration)
	require.ErrorContains(t, err, "calibration 9")
}

func TestIncompleteNumbersAreRefused(t *testing.T) {
	for _, c := range []dust.Calibration{
		{ID: 1, Kind: dust.FilterCalibration, Numbers: `{"detected":true}`},
		{ID: 1, Kind: dust.FilterCalibration, Numbers: `{"detected":false,"sensor":{"pair_factor":3}}`},
		{ID: 1, Kind: dust.FilterCalibration, Numbers: `{"detected":false}`},
		{ID: 1, Kind: dust.FactorCalibration, Numbers: `{"pairs":3,"pair_factors":[1,2,3],"samples":[]}`},
	} {
		var err error
		if c.Kind == dust.FactorCalibration {
			_, err = Read[Fit](c, c.Kind)
		} else {
			_, err = Read[FilterSample](c, c.Kind)
		}
		require.ErrorContains(t, err, "calibration 1 are incomplete", c.Numbers)
	}
}

func TestLastZero(t *testing.T) {
	zero := func(id int64, from time.Duration, mean float64, enough bool) dust.Calibration {
		return record(t, id, dust.ZeroCalibration, from, ZeroCheck{Metric: "pm2_5", Mean: mean, Enough: enough})
	}
	retired := zero(4, 5*time.Hour, 4, true)
	retired.Retired = after(6 * time.Hour)
	other := zero(5, 5*time.Hour, 5, true)
	other.Sensor = "room"
	records := []dust.Calibration{zero(2, 2*time.Hour, 2, true), zero(1, 0, 1, true), zero(3, 4*time.Hour, 3, false), retired, other}
	for hours, want := range map[int]int64{0: 0, 1: 1, 3: 2, 9: 2} {
		z, id, ok, err := LastZero(records, "bench", "pm2_5", after(time.Duration(hours)*time.Hour))
		require.NoError(t, err)
		require.Equal(t, want, id, "after %d h", hours)
		require.Equal(t, want > 0, ok)
		require.InDelta(t, float64(want), z.Mean, 0)
	}
	_, _, ok, err := LastZero(records, "bench", "pm10", after(9*time.Hour))
	require.NoError(t, err)
	require.False(t, ok)
}

func TestFactorsForExposure(t *testing.T) {
	zone, err := time.LoadLocation("Asia/Tokyo") // UTC+9, no summer time (IANA)
	require.NoError(t, err)
	good := record(t, 7, dust.FactorCalibration, 0, fit(t, threePairs...))
	good.Material, good.Task, good.Season = "oak", "sawing", "winter"
	good.Valid, good.Expires, good.To = start, after(365*24*time.Hour), time.Date(2026, time.March, 2, 20, 0, 0, 0, time.UTC)
	few := record(t, 8, dust.FactorCalibration, 0, fit(t, threePairs[:2]...))
	retired := good
	retired.ID, retired.Retired = 9, start
	all, err := Factors([]dust.Calibration{good, few, retired}, zone)
	require.NoError(t, err)
	require.Len(t, all["bench"], 2)
	f := all["bench"][0]
	require.Equal(t, "7", f.ID)
	require.InDelta(t, 3.45, f.Factor, 1e-12)
	require.InEpsilon(t, 34.22066459, f.UncertaintyPercent, 1e-6)
	require.Equal(t, []string{"oak", "sawing", "winter", "NIOSH 0600, 3 pairs", "pm2_5"}, []string{f.Material, f.Task, f.Season, f.Source, f.Metric})
	require.Equal(t, "2026-03-03", f.Date, "the day of the shop, not of UTC")
	require.Equal(t, "2026-03-02", f.ValidFrom)
	require.Equal(t, "2027-03-02", f.Expires)
	require.Equal(t, 3, f.Pairs)
	require.Empty(t, f.Unusable)
	require.Contains(t, all["bench"][1].Unusable, "2 of at least 3")
}

func TestDriftSince(t *testing.T) {
	line := func(slope float64) *Line { return &Line{Slope: slope, SlopeSE: 0.01, DF: 20} }
	side := func(slope float64) Collocation {
		return Collocation{Metric: "pm2_5", Reference: "bench", From: after(48 * time.Hour), To: after(50 * time.Hour), Others: []SensorPair{{Sensor: "room", Deming: line(slope)}}}
	}
	first, second := side(1), side(1.02)
	first.To, second.To = after(time.Hour), after(25*time.Hour)
	other := side(3)
	other.Others[0].Sensor = "yard"
	records := []dust.Calibration{record(t, 1, dust.SideBySide, 0, first), record(t, 2, dust.SideBySide, 24*time.Hour, second), record(t, 3, dust.SideBySide, 25*time.Hour, other)}
	drifts, id, err := DriftSince(records, side(1.071))
	require.NoError(t, err)
	require.EqualValues(t, 2, id, "the newest before it, of the same sensors")
	require.Len(t, drifts, 1)
	require.InDelta(t, 1.05, drifts[0].Change, 1e-9)
	require.Equal(t, "room", drifts[0].Sensor)
	require.Equal(t, "bench", drifts[0].Reference)

	none, id, err := DriftSince(records[2:], side(1))
	require.NoError(t, err)
	require.Zero(t, id)
	require.Empty(t, none)
}

func TestDriftOver(t *testing.T) {
	side := func(id int64, at time.Duration, slope float64, reference, other string) dust.Calibration {
		return record(t, id, dust.SideBySide, at, Collocation{Metric: "pm2_5", Reference: reference,
			Others: []SensorPair{{Sensor: "mute"}, {Sensor: other, Deming: &Line{Slope: slope, SlopeSE: 0.01 * slope, DF: 20}}}})
	}
	day := 24 * time.Hour
	records := []dust.Calibration{
		side(1, 0, 1, "bench", "room"), side(2, day, 2, "bench", "room"), side(3, 2*day, 5, "bench", "yard"), // before
		side(4, 5*day, 9, "bench", "room"),                                                                              // in the midst of it
		side(5, 11*day, 3, "bench", "room"), side(6, 10*day, 2.1, "bench", "room"), side(7, 12*day, 1, "bench", "hood"), // after
	}
	from, to := after(3*day), after(9*day)
	for _, sensor := range []string{"room", "bench"} { // it may be the reference too
		d, ids, ok, err := DriftOver(records, sensor, "pm2_5", from, to)
		require.NoError(t, err)
		require.True(t, ok)
		require.Equal(t, [2]int64{2, 6}, ids, "the nearest of the same two sensors")
		require.InDelta(t, 1.05, d.Change, 1e-12)
		require.Equal(t, []string{"bench", "room"}, []string{d.Reference, d.Sensor})
	}

	records[5].Retired = after(13 * day)
	_, ids, ok, err := DriftOver(records, "room", "pm2_5", from, to)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, [2]int64{2, 5}, ids, "what was retired does not count")

	for _, c := range []struct {
		sensor, metric string
		from, to       time.Time
	}{{"yard", "pm2_5", from, to}, {"room", "pm10", from, to}, {"room", "pm2_5", after(0), to}, {"room", "pm2_5", from, after(12 * day)}} {
		_, _, ok, err := DriftOver(records, c.sensor, c.metric, c.from, c.to)
		require.NoError(t, err)
		require.False(t, ok, "%v", c)
	}

	records[0].Numbers, records[1].Numbers = "{", "{"
	_, _, _, err = DriftOver(records, "room", "pm2_5", from, to)
	require.ErrorContains(t, err, "calibration 1")
}
