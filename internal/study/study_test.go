package study_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

var t0 = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

// records are readings and diary in memory.
type records struct {
	sensors []dust.Sensor
	series  map[string]map[dust.Channel]*dust.Series
	tasks   []dust.Task
	setups  []dust.SetupPeriod

	calibrations []dust.Calibration
}

func (r *records) Sensors(context.Context) ([]dust.Sensor, error) { return r.sensors, nil }

func (r *records) Series(_ context.Context, s dust.Sensor, channels []dust.Channel, _, _ time.Time) (map[dust.Channel]*dust.Series, error) {
	out := map[dust.Channel]*dust.Series{}
	for _, c := range channels {
		if found := r.series[s.Name][c]; found != nil {
			out[c] = found
		}
	}
	return out, nil
}

func (r *records) Tasks(context.Context, time.Time, time.Time) ([]dust.Task, error) {
	return r.tasks, nil
}
func (r *records) SetupPeriods(context.Context) ([]dust.SetupPeriod, error) { return r.setups, nil }
func (r *records) Calibrations(context.Context) ([]dust.Calibration, error) {
	return r.calibrations, nil
}

// add gives a sensor a constant level in µg/m³ for an hour.
func (r *records) add(t *testing.T, s dust.Sensor, c dust.Channel, level float64, flags dust.Flags) {
	t.Helper()
	if r.series == nil {
		r.series = map[string]map[dust.Channel]*dust.Series{}
	}
	if r.series[s.Name] == nil {
		r.sensors = append(r.sensors, s)
		r.series[s.Name] = map[dust.Channel]*dust.Series{}
	}
	series := dust.NewSeries(s, c)
	for i := range 3600 {
		require.NoError(t, series.Append(t0.Add(time.Duration(i)*time.Second), level+float64(i%3), flags))
	}
	r.series[s.Name][c] = series
}

func settings(t *testing.T) study.Settings {
	t.Helper()
	limit, err := exposure.ChooseLimit("us-acgih-other")
	require.NoError(t, err)
	return study.Settings{Zone: time.UTC, Limit: limit}
}

var bench = dust.Sensor{Name: "bench", Position: dust.BreathingZone}

func TestAnEmptyStoreSaysWhatToDo(t *testing.T) {
	_, err := study.Open(t.Context(), &records{}, settings(t))
	require.ErrorIs(t, err, dust.ErrNoReadings)
	require.ErrorContains(t, err, "dustlog collect")
}

func TestTheMassScaleIsASetting(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 300, 0)
	r.add(t, bench, dust.PM25Atm, 200, 0)
	room := dust.Sensor{Name: "room", Position: dust.Room}
	r.add(t, room, dust.PM25, 100, 0)
	for _, test := range []struct {
		atmospheric bool
		bench, room float64
	}{{false, 301, 101}, {true, 201, 101}} {
		set := settings(t)
		set.Atmospheric = test.atmospheric
		s, err := study.Open(t.Context(), &r, set)
		require.NoError(t, err)
		result, err := s.Exposure(t.Context(), dust.PM25, study.Window{})
		require.NoError(t, err)
		require.InDelta(t, test.bench/1000, *result.Shifts[0].MeasuredMean, 0.001)
		require.InDelta(t, test.room/1000, *result.Shifts[1].MeasuredMean, 0.001, "a sensor that sends one scale has no choice")
	}
}

func TestTheMassScaleLeavesOtherChannelsAlone(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM1, 100, 0)
	r.add(t, bench, dust.PM1Atm, 70, 0)
	r.add(t, bench, dust.PM4, 400, 0)
	set := settings(t)
	set.Atmospheric = true
	s, err := study.Open(t.Context(), &r, set)
	require.NoError(t, err)
	for c, want := range map[dust.Channel]float64{dust.PM1: 70, dust.PM4: 400, dust.PM1Atm: 70} {
		series, err := s.Series(t.Context(), bench, c, study.Window{})
		require.NoError(t, err)
		_, got, _ := series.At(0)
		require.InDelta(t, want, got, 0, c.Label())
	}
}

func TestReadingsThatCannotBeUsedAreNamed(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 300, dust.WarmUp)
	s, err := study.Open(t.Context(), &r, settings(t))
	require.NoError(t, err)
	_, err = s.Exposure(t.Context(), dust.PM25, study.Window{})
	require.ErrorIs(t, err, dust.ErrNoReadings)
	require.ErrorContains(t, err, "3600 readings, flagged: 3600 warm_up")
}

func TestDeclaredHoursAreUsed(t *testing.T) {
	var r records
	r.add(t, bench, dust.PM25, 300, 0)
	set := settings(t)
	hours, err := dust.ParseShiftHours("08:00-16:00", time.UTC)
	require.NoError(t, err)
	set.Hours = &hours
	s, err := study.Open(t.Context(), &r, set)
	require.NoError(t, err)
	result, err := s.Exposure(t.Context(), dust.PM25, study.Window{})
	require.NoError(t, err)
	require.Len(t, result.Shifts, 1)
	require.InDelta(t, 480, result.Shifts[0].Minutes, 1e-9)
	require.InDelta(t, 60, result.Shifts[0].MinutesMeasured, 0.1)
	require.InDelta(t, 301./1000/8, *result.Shifts[0].TWA8h, 0.0001, "one hour of dust over eight hours")

	late, err := dust.ParseShiftHours("18:00-20:00", time.UTC)
	require.NoError(t, err)
	set.Hours = &late
	s, err = study.Open(t.Context(), &r, set)
	require.NoError(t, err)
	_, err = s.Exposure(t.Context(), dust.PM25, study.Window{})
	require.ErrorContains(t, err, "none within the shift hours")
}

func TestTheComparedSensorIsTheOneThatSpeaksForWhatIsBreathed(t *testing.T) {
	var r records
	r.add(t, dust.Sensor{Name: "wall", Position: dust.Room}, dust.PM25, 10, 0)
	s, err := study.Open(t.Context(), &r, settings(t))
	require.NoError(t, err)
	chosen, err := s.Compared("")
	require.NoError(t, err)
	require.Equal(t, "wall", chosen.Name)

	r.add(t, bench, dust.PM25, 10, 0)
	s, err = study.Open(t.Context(), &r, settings(t))
	require.NoError(t, err)
	chosen, err = s.Compared("")
	require.NoError(t, err)
	require.Equal(t, "bench", chosen.Name)
	chosen, err = s.Compared("wall")
	require.NoError(t, err)
	require.Equal(t, "wall", chosen.Name)
	_, err = s.Compared("flarp")
	require.ErrorIs(t, err, dust.ErrUnknownSensor)
	require.ErrorContains(t, err, "wall, bench")

	r.add(t, dust.Sensor{Name: "second", Position: dust.BreathingZone}, dust.PM25, 10, 0)
	s, err = study.Open(t.Context(), &r, settings(t))
	require.NoError(t, err)
	_, err = s.Compared("")
	require.ErrorContains(t, err, "--sensor", "two in the same place: the user must choose")
}

func TestSparseReadingsAreUsedAndSaid(t *testing.T) {
	series := dust.NewSeries(bench, dust.PM25)
	for i := range 120 {
		require.NoError(t, series.Append(t0.Add(time.Duration(i)*time.Minute), 50, 0))
	}
	r := records{sensors: []dust.Sensor{bench}, series: map[string]map[dust.Channel]*dust.Series{"bench": {dust.PM25: series}}}
	s, err := study.Open(t.Context(), &r, settings(t))
	require.NoError(t, err)
	result, err := s.Exposure(t.Context(), dust.PM25, study.Window{})
	require.NoError(t, err)
	require.InDelta(t, 120, result.Shifts[0].MinutesMeasured, 1)
	require.Contains(t, result.Warnings[len(result.Warnings)-1].String(), "speak until the next")
}
