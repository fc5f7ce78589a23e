package study_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
	"dustlog/internal/study"
)

// What two collocations, before and after a study, tell of drift widens the
// interval of its comparison; a drift that is given counts instead.
func TestDriftOnRecordWidensAComparison(t *testing.T) {
	var r records
	series := dust.NewSeries(bench, dust.PM25)
	levels := []float64{310, 260, 345, 290, 150, 118, 171, 139} // of eight days, the setup changed after four
	for day, level := range levels {
		from := t0.AddDate(0, 0, day)
		for i := range 180 {
			require.NoError(t, series.Append(from.Add(time.Duration(i)*20*time.Second), level+float64(i%5), 0))
		}
		r.tasks = append(r.tasks, dust.Task{ID: int64(day + 1), Name: "sanding", Start: from, Stop: from.Add(time.Hour)})
	}
	r.sensors = []dust.Sensor{bench}
	r.series = map[string]map[dust.Channel]*dust.Series{"bench": {dust.PM25: series}}
	r.setups = []dust.SetupPeriod{
		{Setup: "drop box", From: t0.Add(-time.Hour), To: t0.AddDate(0, 0, 4).Add(-time.Hour)},
		{Setup: "cyclone", From: t0.AddDate(0, 0, 4).Add(-time.Hour)},
	}
	side := func(id int64, from time.Time, slope float64) dust.Calibration {
		c := kept(t, id, dust.SideBySide, calibrate.Collocation{Metric: "pm2_5", Reference: "yard",
			Others: []calibrate.SensorPair{{Sensor: "bench", Deming: &calibrate.Line{Slope: slope, SlopeSE: 0.01 * slope, DF: 10}}}})
		c.Sensor, c.From, c.To = "yard", from, from.Add(time.Hour)
		return c
	}
	ask := study.Question{Before: "drop box", After: "cyclone", Metric: dust.PM25}

	plain, err := open(t, &r, nil).Compare(t.Context(), ask)
	require.NoError(t, err)
	require.NotNil(t, plain.Uncertainty.Total)
	require.Zero(t, plain.Uncertainty.Drift)
	require.Contains(t, plain.Method.String(), "drift is not included")

	r.calibrations = []dust.Calibration{side(4, t0.Add(-3*time.Hour), 1), side(9, t0.AddDate(0, 0, 9), 1.3)}
	s := open(t, &r, nil)
	drifted, err := s.Compare(t.Context(), ask)
	require.NoError(t, err)
	u := math.Sqrt(math.Pow(math.Log(1.3), 2)/3 + 2*0.01*0.01)
	require.InDelta(t, u, drifted.Uncertainty.Drift, 1e-12)
	require.InDelta(t, math.Hypot(*plain.Uncertainty.Total, u), *drifted.Uncertainty.Total, 1e-12)
	require.Contains(t, drifted.Uncertainty.DriftSource.String(), "calibrations 4 and 9")
	require.Contains(t, drifted.Method.String(), drifted.Uncertainty.DriftSource.String())

	ask.DriftU, ask.DriftDF = 0.05, 5
	given, err := s.Compare(t.Context(), ask)
	require.NoError(t, err)
	require.InDelta(t, 0.05, given.Uncertainty.Drift, 0)
	require.Empty(t, given.Uncertainty.DriftSource)
}
