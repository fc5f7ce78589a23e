package study_test

import (
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite"

	"dustlog/internal/dust"
	"dustlog/internal/study"
)

// sqlSpans and sqlDay compute a day's figures a second time, by SQLite's own window
// functions, from the definitions in package exposure and nothing else:
//
//   - a reading speaks until the next, at most 5 s; unusable ones (here: flag 1,
//     warm-up) end the one before and are then left out;
//   - dose and measured time up to t are sums of whole spans before t and the
//     part of the span that holds t;
//   - the rolling mean is looked at wherever either edge of the window meets the
//     begin or end of a span, and counts where 675 s of 900 s were measured;
//   - a percentile is the lowest reading with at least that share of time at or
//     below it.
//
// Values are whole tenths of µg/m³ and times whole ms, so all sums are exact.
const sqlSpans = `
CREATE TABLE usable (ms INTEGER PRIMARY KEY, till, dt, tenths, dose, measured);
WITH spans AS (
	SELECT ms, tenths, flags, min(5000, coalesce(lead(ms) OVER (ORDER BY ms) - ms, 5000)) AS dt FROM reading)
INSERT INTO usable SELECT ms, ms + dt, dt, tenths, sum(tenths * dt) OVER w - tenths * dt, sum(dt) OVER w - dt
	FROM spans WHERE flags & 1 = 0 WINDOW w AS (ORDER BY ms ROWS UNBOUNDED PRECEDING)`

const sqlDay = `
WITH shift AS (SELECT min(ms) AS first, max(till) AS last FROM usable),
edges AS (SELECT ms AS t FROM usable UNION SELECT till FROM usable),
instants AS (
	SELECT t, t - 900000 AS tail FROM (SELECT t FROM edges UNION SELECT t + 900000 FROM edges), shift
	WHERE t - 900000 >= first AND t <= last),
windows AS (
	SELECT
		(SELECT dose + tenths * min(dt, i.t - ms) FROM usable WHERE ms <= i.t ORDER BY ms DESC LIMIT 1) -
		(SELECT dose + tenths * min(dt, i.tail - ms) FROM usable WHERE ms <= i.tail ORDER BY ms DESC LIMIT 1) AS dose,
		(SELECT measured + min(dt, i.t - ms) FROM usable WHERE ms <= i.t ORDER BY ms DESC LIMIT 1) -
		(SELECT measured + min(dt, i.tail - ms) FROM usable WHERE ms <= i.tail ORDER BY ms DESC LIMIT 1) AS measured
	FROM instants i),
levels AS (SELECT tenths, sum(dt) AS dt FROM usable GROUP BY tenths),
ranked AS (SELECT tenths, dt, sum(dt) OVER (ORDER BY tenths) AS below, sum(dt) OVER () AS total FROM levels)
SELECT
	(SELECT sum(dt) / 60000.0 FROM usable),
	(SELECT sum(tenths * dt) / 1e4 / 28800000 FROM usable),
	(SELECT max(1.0 * dose / measured) / 1e4 FROM windows WHERE measured >= 675000),
	(SELECT min(tenths) / 1e4 FROM ranked WHERE below * 100 >= total * 50),
	(SELECT min(tenths) / 1e4 FROM ranked WHERE below * 100 >= total * 95),
	(SELECT min(tenths) / 1e4 FROM ranked WHERE below * 100 >= total * 99),
	(SELECT coalesce(sum(dt), 0) / 60000.0 FROM levels WHERE tenths > 10000)`

// The kernel and SQL agree to the last printed digit on a day with jitter, lost
// readings, a gap and a warm-up.
func TestSQLAgrees(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 86_400))
	db, err := sql.Open("sqlite", ":memory:")
	require.NoError(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	_, err = db.Exec("CREATE TABLE reading (ms INTEGER PRIMARY KEY, tenths INTEGER, flags INTEGER)")
	require.NoError(t, err)
	tx, err := db.Begin()
	require.NoError(t, err)
	insert, err := tx.Prepare("INSERT INTO reading VALUES (?, ?, ?)")
	require.NoError(t, err)
	series := dust.NewSeries(bench, dust.PM25)
	level := 0.0
	for i := range 9 * 3600 {
		level = 0.98*level + 0.2*r.NormFloat64()
		if r.IntN(500) == 0 || (i > 7000 && i < 8500) {
			continue
		}
		tenths, flags := int64(math.Round(120*math.Exp(level))), dust.Flags(0)
		if i > 20_000 && i < 21_500 {
			tenths += int64(15_000 * (1 - math.Exp(-float64(i-20_000)/300)))
		}
		if i < 40 || (i >= 8500 && i < 8530) {
			flags = dust.WarmUp
		}
		at := t0.Add(time.Duration(i)*time.Second + time.Duration(r.IntN(300))*time.Millisecond)
		require.NoError(t, series.Append(at, float64(tenths)/10, flags))
		_, err := insert.Exec(at.UnixMilli(), tenths, int64(flags))
		require.NoError(t, err)
	}
	require.NoError(t, tx.Commit())
	_, err = db.Exec(sqlSpans)
	require.NoError(t, err)
	var minutes, twa, max15, p50, p95, p99, above float64
	require.NoError(t, db.QueryRow(sqlDay).Scan(&minutes, &twa, &max15, &p50, &p95, &p99, &above))
	require.Greater(t, above, 10.0)

	records := records{sensors: []dust.Sensor{bench}, series: map[string]map[dust.Channel]*dust.Series{"bench": {dust.PM25: series}}}
	s, err := study.Open(t.Context(), &records, settings(t))
	require.NoError(t, err)
	result, err := s.Exposure(t.Context(), dust.PM25, study.Window{})
	require.NoError(t, err)
	require.Len(t, result.Shifts, 1)
	got := result.Shifts[0]
	require.InDelta(t, 1, got.LimitMgM3, 0, "the SQL knows this limit only")
	for name, pair := range map[string][2]float64{
		"minutes": {minutes, got.MinutesMeasured}, "TWA": {twa, *got.TWA8h}, "highest 15 min": {max15, *got.Max15min},
		"p50": {p50, *got.P50}, "p95": {p95, *got.P95}, "p99": {p99, *got.P99}, "above": {above, *got.MinutesAboveLimit},
	} {
		require.InEpsilon(t, pair[0], pair[1], 1e-14, name)
		require.Equal(t, fmt.Sprintf("%.12g", pair[0]), fmt.Sprintf("%.12g", pair[1]), name)
	}
}
