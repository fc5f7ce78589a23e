package study_test

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
	"dustlog/internal/study"
	"dustlog/internal/units"
)

// diaried are records with entries.
type diaried struct {
	*records
	entries []dust.Entered
}

func (d *diaried) Entries(context.Context, time.Time, time.Time) ([]dust.Entered, error) {
	return d.entries, nil
}

func (d *diaried) gauge(t *testing.T, at time.Time, kind airflow.GaugeKind, figures string) {
	t.Helper()
	e, err := airflow.GaugeEntry(fmt.Sprint(len(d.entries)), at, kind, "", figures)
	require.NoError(t, err)
	d.entries = append(d.entries, dust.Entered{Entry: e})
}

// workdays makes one session of ten minutes a day. Each day has 50 cfm more than the
// one before and 0.9 times its dust; from the day of the change on, a third of that.
func workdays(t *testing.T, days, change int) *diaried {
	t.Helper()
	d := &diaried{records: &records{sensors: []dust.Sensor{bench}}}
	series := dust.NewSeries(bench, dust.PM25)
	for i := range days {
		start := t0.AddDate(0, 0, i)
		setup, level := "old", 300*math.Pow(0.9, float64(i))*(1+0.01*float64(i%3))
		if i >= change {
			setup, level = "new", level/3
		}
		if i == 0 || i == change {
			d.setups = append(d.setups, dust.SetupPeriod{Setup: setup, From: start.Add(-time.Hour)})
			if i > 0 {
				d.setups[0].To = start.Add(-time.Hour)
			}
		}
		d.tasks = append(d.tasks, dust.Task{ID: int64(i + 1), Name: "sanding", Start: start, Stop: start.Add(10 * time.Minute)})
		for s := range 600 {
			require.NoError(t, series.Append(start.Add(time.Duration(s)*time.Second), level+float64(s%3-1), 0))
		}
		d.gauge(t, start.Add(-10*time.Minute), airflow.FlowGauge, fmt.Sprintf("%d cfm", 400+50*i))
	}
	d.series = map[string]map[dust.Channel]*dust.Series{bench.Name: {dust.PM25: series}}
	return d
}

func withDucts(t *testing.T, setups ...string) study.Settings {
	set := settings(t)
	for _, s := range setups {
		set.Collectors = append(set.Collectors, airflow.Collector{Setup: s, Ducts: []airflow.DuctRecord{{Diameter: units.Inches(6)}}})
	}
	return set
}

// A tenth less for each 50 cfm is 19 % less for each 100; a change of setup on the way
// does not alter it.
func TestFineDustBesideFlow(t *testing.T) {
	for _, change := range []int{99, 4} {
		d := workdays(t, 8, change)
		r, err := study.Airflow(t.Context(), d, withDucts(t, "old", "new"), dust.PM25, study.Window{})
		require.NoError(t, err)
		require.Equal(t, airflow.LessDust, r.Dust.Answer, r.Dust.Why)
		require.Equal(t, 8, r.Dust.Sessions)
		require.InDelta(t, -19, *r.Dust.Percent, 2)
		require.Empty(t, r.LeftOut)
	}
}

func TestCompareShowsTheCollectorWhereAskedTo(t *testing.T) {
	d := workdays(t, 8, 4)
	d.gauge(t, t0.Add(time.Hour), airflow.StaticGauge, "-900 Pa")
	s, err := study.Open(t.Context(), d, withDucts(t, "old", "new"))
	require.NoError(t, err)
	q := study.Question{Before: "old", After: "new", Metric: dust.PM25}
	plain, err := s.Compare(t.Context(), q)
	require.NoError(t, err)
	require.Nil(t, plain.Conditions[0].Collector)
	q.Airflow = true
	beside, err := s.Compare(t.Context(), q)
	require.NoError(t, err)
	require.InDelta(t, 550, beside.Conditions[0].Collector.Flow.CFM(), 1e-9)
	require.InDelta(t, 750, beside.Conditions[1].Collector.Flow.CFM(), 1e-9)
	require.Equal(t, units.Pressure(-900), *beside.Conditions[0].Collector.Static)
	require.Nil(t, beside.Conditions[1].Collector.Static)
	require.Equal(t, plain.Ratio, beside.Ratio)
}

func TestAirflowWithoutDustOrDiary(t *testing.T) {
	d := &diaried{records: &records{}}
	d.gauge(t, t0, airflow.CurrentGauge, "5 A")
	r, err := study.Airflow(t.Context(), d, settings(t), dust.PM25, study.Window{})
	require.NoError(t, err)
	require.Len(t, r.Setups, 1)
	require.Contains(t, r.Warnings[0].String(), "no dust was measured")

	_, err = study.Airflow(t.Context(), &records{}, settings(t), dust.PM25, study.Window{})
	require.ErrorContains(t, err, "in the shop's own store only")
}
