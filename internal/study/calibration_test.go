package study_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/calibrate"
	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

// kept turns a result into a record of the bench sensor, made of the hour at t0.
func kept(t *testing.T, id int64, kind dust.CalibrationKind, result any) dust.Calibration {
	t.Helper()
	numbers, err := calibrate.Numbers(result)
	require.NoError(t, err)
	return dust.Calibration{ID: id, Kind: kind, Sensor: "bench", Made: t0, From: t0, To: t0.Add(time.Hour), Metric: "pm2_5", Numbers: numbers}
}

func open(t *testing.T, r *records, change func(*study.Settings)) *study.Study {
	t.Helper()
	set := settings(t)
	limit, err := exposure.ChooseLimit("de-aswg-a") // respirable
	require.NoError(t, err)
	set.Limit = limit
	if change != nil {
		change(&set)
	}
	s, err := study.Open(t.Context(), r, set)
	require.NoError(t, err)
	return s
}

func oneShift(t *testing.T, s *study.Study) exposure.ShiftResult {
	t.Helper()
	result, err := s.Exposure(t.Context(), dust.PM25, study.Window{})
	require.NoError(t, err)
	require.Len(t, result.Shifts, 1)
	return result.Shifts[0]
}

var hour = study.Window{From: t0, To: t0.Add(time.Hour)}

func TestAFactorOnRecordIsUsedUntilItIsRetired(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 299, 0) // 299, 300, 301 again and again
	before := append([]float64{}, columns(r.series["bench"][dust.PM25])...)
	require.Nil(t, oneShift(t, open(t, &r, nil)).Factor)

	fit := calibrate.Fit{Metric: "pm2_5", Fraction: exposure.RespirableFraction, Factor: 4, UncertaintyPercent: 25, Usable: true, Source: "NIOSH 0600",
		Pairs: 3, PairFactors: []float64{4, 4, 4}, Samples: []int64{1, 2, 3}}
	factor := kept(t, 7, dust.FactorCalibration, fit)
	factor.Valid, factor.Expires = t0.AddDate(0, 0, -1), t0.AddDate(1, 0, 0)
	r.calibrations = []dust.Calibration{factor}
	shift := oneShift(t, open(t, &r, nil))
	require.Equal(t, "7", shift.Factor.ID)
	require.InDelta(t, 4**shift.TWA8h, *shift.WithFactor, 1e-9)
	require.InDelta(t, *shift.WithFactor/1.25, *shift.WithFactorLow, 1e-9)

	// A better one, dated later, takes its place; the reading stays.
	better := fit
	better.Factor = 5
	newer := kept(t, 8, dust.FactorCalibration, better)
	newer.Valid = t0.Add(-time.Hour)
	r.calibrations = append(r.calibrations, newer)
	changed := oneShift(t, open(t, &r, nil))
	require.Equal(t, "8", changed.Factor.ID)
	require.InDelta(t, 5**shift.TWA8h, *changed.WithFactor, 1e-9)
	require.InDelta(t, *shift.TWA8h, *changed.TWA8h, 0)
	require.Equal(t, before, columns(r.series["bench"][dust.PM25]), "no reading is touched")

	r.calibrations[1].Retired = t0
	require.Equal(t, "7", oneShift(t, open(t, &r, nil)).Factor.ID)

	// The configuration's factor stands beside those on record.
	configured := exposure.Factor{Factor: 3, Fraction: exposure.RespirableFraction, SpreadPercent: 10, Source: "filters", Date: "2026-03-02"}
	both := oneShift(t, open(t, &r, func(set *study.Settings) { set.Factors = map[string][]exposure.Factor{"bench": {configured}} }))
	require.Empty(t, both.Factor.ID, "the newer one counts, wherever it is written")
}

func columns(s *dust.Series) []float64 {
	_, values, _ := s.Columns()
	return values
}

func TestDamagedNumbersAreAnError(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 300, 0)
	bad := kept(t, 7, dust.FactorCalibration, calibrate.Fit{})
	bad.Numbers = "{"
	r.calibrations = []dust.Calibration{bad}
	_, err := study.Open(t.Context(), &r, settings(t))
	require.ErrorContains(t, err, "calibration 7")
}

func TestPairingTakesTheZeroOff(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 299, 0)
	zero := kept(t, 3, dust.ZeroCalibration, calibrate.ZeroCheck{Metric: "pm2_5", Mean: 20, Floor: 25, Enough: true})
	zero.From, zero.To = t0.Add(-2*time.Hour), t0.Add(-time.Hour)
	r.calibrations = []dust.Calibration{zero}
	s := open(t, &r, nil)
	method, err := calibrate.FindMethod("0600")
	require.NoError(t, err)
	sample, err := s.PairFilter(t.Context(), bench, dust.PM25, calibrate.FilterInput{
		Method: method, From: t0, To: t0.Add(time.Hour), FlowBefore: 2.2, FlowAfter: 2.2, Filter: calibrate.Weights{Before: 12, After: 12.132},
		Blanks: []calibrate.Weights{{Before: 12, After: 12}, {Before: 12, After: 12}},
	})
	require.NoError(t, err)
	require.EqualValues(t, 3, sample.Sensor.ZeroID)
	require.InDelta(t, 300, sample.Sensor.Mean, 0.01)
	require.InDelta(t, 1/0.280, *sample.Sensor.Pair, 0.001) // 0.132 mg in 132 L over 300 − 20 µg/m³
}

func TestTheDiaryNamesTheDust(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 300, 0)
	r.tasks = []dust.Task{{Name: "sanding", Material: "oak"}, {Name: "sawing", Material: "oak "}}
	material, task, err := open(t, &r, nil).Diary(t.Context(), hour)
	require.NoError(t, err)
	require.Equal(t, "oak", material)
	require.Empty(t, task, "two tasks: none is the task")
	r.tasks = append(r.tasks, dust.Task{Name: "sawing"})
	material, _, err = open(t, &r, nil).Diary(t.Context(), hour)
	require.NoError(t, err)
	require.Empty(t, material, "a task without material: nobody knows")
}

func TestCalibrationsNeedTimesAndASensor(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 300, 0)
	s := open(t, &r, nil)
	only, err := s.OnlySensor("")
	require.NoError(t, err)
	require.Equal(t, bench, only)
	_, err = s.CheckZero(t.Context(), bench, dust.PM25, study.Window{})
	require.ErrorContains(t, err, "--from and --to")
	_, err = s.CheckZero(t.Context(), bench, dust.PM10, hour)
	require.ErrorIs(t, err, dust.ErrNoReadings)
	r.add(t, dust.Sensor{Name: "room"}, dust.PM25, 300, 0)
	_, err = open(t, &r, nil).OnlySensor("")
	require.ErrorIs(t, err, dust.ErrUnknownSensor)
	require.ErrorContains(t, err, "bench, room")
}

func TestZeroDriftSinceTheLastCheck(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 1, 0) // 1, 2, 3
	before := kept(t, 3, dust.ZeroCalibration, calibrate.ZeroCheck{Metric: "pm2_5", Mean: 1, Floor: 2, Enough: true})
	before.From, before.To = t0.Add(-2*time.Hour), t0.Add(-time.Hour)
	r.calibrations = []dust.Calibration{before}
	z, err := open(t, &r, nil).CheckZero(t.Context(), bench, dust.PM25, hour)
	require.NoError(t, err)
	require.InDelta(t, 1, z.Drift.Change, 1e-9)
	require.InDelta(t, 50, *z.Drift.Percent, 1e-9)
	require.True(t, z.Drift.Flagged)
}

// What two collocations tell of drift widens the interval of a comparison.
func TestDriftFitsIntoAComparison(t *testing.T) {
	var r records
	room := dust.Sensor{Name: "room"}
	for _, s := range []struct {
		sensor dust.Sensor
		gain   float64
	}{{bench, 1}, {room, 1.26}} {
		series := dust.NewSeries(s.sensor, dust.PM25)
		for i := range 3600 {
			level := 100 + 80*math.Sin(float64(i)/40) // faster than a mean of 1 min remembers
			level += 60 * math.Sin(float64(i/60)*2.4)
			require.NoError(t, series.Append(t0.Add(time.Duration(i)*time.Second), s.gain*max(0, level), 0))
		}
		r.sensors = append(r.sensors, s.sensor)
		if r.series == nil {
			r.series = map[string]map[dust.Channel]*dust.Series{}
		}
		r.series[s.sensor.Name] = map[dust.Channel]*dust.Series{dust.PM25: series}
	}
	before := calibrate.Collocation{Metric: "pm2_5", Reference: "bench", To: t0.Add(-time.Hour),
		Others: []calibrate.SensorPair{{Sensor: "room", Deming: &calibrate.Line{Slope: 1.2, SlopeSE: 0.012, DF: 10}}}}
	record := kept(t, 4, dust.SideBySide, before)
	record.From, record.To = t0.Add(-2*time.Hour), t0.Add(-time.Hour)
	r.calibrations = []dust.Calibration{record}
	c, drifts, since, err := open(t, &r, nil).Collocate(t.Context(), []dust.Sensor{bench, room}, dust.PM25, hour, calibrate.CollocationOptions{})
	require.NoError(t, err)
	require.NotNil(t, c.Others[0].Deming, c.Others[0].Why)
	require.EqualValues(t, 4, since)
	require.InDelta(t, 1.05, drifts[0].Change, 1e-6)
	require.InDelta(t, math.Sqrt(math.Pow(math.Log(1.05), 2)/3+0.01*0.01), drifts[0].U, 1e-6)

	plain, err := compare.WidenForDrift(0.55, 0.18, 6.4, 0, 3, 0.95)
	require.NoError(t, err)
	wide, err := compare.WidenForDrift(0.55, 0.18, 6.4, drifts[0].U, drifts[0].DF, 0.95)
	require.NoError(t, err)
	require.Greater(t, wide.SE, plain.SE)
}

// 80 % and κ 0.4: a reading is 1.9697 times what dry dust would give (Growth).
func TestHumidityIsARangeBesideTheResult(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 299, dust.Humid)
	damp := dust.NewSeries(bench, dust.Humidity)
	for i := range 3600 {
		require.NoError(t, damp.Append(t0.Add(time.Duration(i)*time.Second), 80, 0))
	}
	r.series["bench"][dust.Humidity] = damp
	plain := oneShift(t, open(t, &r, nil))
	require.Nil(t, plain.Humidity)
	shift := oneShift(t, open(t, &r, func(set *study.Settings) { set.Kappa = map[string]float64{"bench": 0.4} }))
	require.InDelta(t, *plain.TWA8h, *shift.Humidity.Without, 1e-9)
	require.InEpsilon(t, *plain.TWA8h/1.9696969697, *shift.Humidity.With, 1e-9)
	require.InDelta(t, 1, shift.Humidity.Corrected, 0)
	require.Equal(t, plain.Finding, shift.Finding)
	require.Equal(t, plain.Why, shift.Why, "no finding rests on it")
	require.InDelta(t, *plain.TWA8h, *shift.TWA8h, 0)

	delete(r.series["bench"], dust.Humidity)
	unknown := oneShift(t, open(t, &r, func(set *study.Settings) { set.Kappa = map[string]float64{"bench": 0.4} }))
	require.Nil(t, unknown.Humidity.With)
	require.Contains(t, unknown.Humidity.Why.String(), "no relative humidity")
}
