// Command duckdb computes the exposure summary a second time, in SQL and by
// DuckDB, from the sealed Parquet files of a store that bench made, compares the
// answers with dustlog's and prints how long each took. It is a module of its own
// because it needs cgo.
//
//	cd bench/duckdb && CGO_ENABLED=1 go run . -store /tmp/bench/shop.db -program /tmp/bench/dustlog -days 90
package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"time"

	_ "github.com/duckdb/duckdb-go/v2"
)

func main() {
	store := flag.String("store", "bench.db", "a store that bench made")
	program := flag.String("program", "dustlog", "the dustlog to compare with")
	days := flag.Int("days", 10, "how many days, from the first on")
	window := flag.Bool("range", false, "the plain RANGE window too; minutes for 90 days")
	flag.Parse()
	if err := run(context.Background(), *store, *program, *days, *window); err != nil {
		fmt.Fprintln(os.Stderr, "duckdb:", err)
		os.Exit(1)
	}
}

// answer is one sensor on one day.
type answer struct {
	minutes, mean, max15, p50, p95, p99, above float64
}

type key struct{ sensor, date string }

const limit = 1.0 // mg/m³, of us-acgih-other

var begin = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

func run(ctx context.Context, store, program string, days int, window bool) error {
	ours, took, err := dustlog(ctx, store, program, days)
	if err != nil {
		return err
	}
	fmt.Printf("dustlog, whole process      %8.3f s (fastest of 5), %d sensor days\n", took.Seconds(), len(ours))
	forms := []struct{ name, rolling string }{{"prefix sums and ASOF join", asof}}
	if window {
		forms = append(forms, struct{ name, rolling string }{"plain RANGE window", ranged})
	}
	for _, form := range forms {
		theirs, spent, err := duckdb(ctx, store, days, form.rolling)
		if err != nil {
			return fmt.Errorf("%s: %w", form.name, err)
		}
		fmt.Printf("DuckDB, %-26s %6.2f s, %.0f times dustlog's\n", form.name, spent.Seconds(), spent.Seconds()/took.Seconds())
		if err := compare(ours, theirs); err != nil {
			return fmt.Errorf("%s: %w", form.name, err)
		}
	}
	return nil
}

func dustlog(ctx context.Context, store, program string, days int) (map[key]answer, time.Duration, error) {
	fastest := time.Duration(math.MaxInt64)
	var out []byte
	for range 5 {
		cmd := exec.CommandContext(ctx, program, "--store", store, "exposure", "--json", "--limit", "us-acgih-other",
			"--from", begin.Format(time.DateOnly), "--to", begin.AddDate(0, 0, days-1).Format(time.DateOnly))
		cmd.Env = append(os.Environ(), "TZ=UTC", "XDG_CONFIG_HOME=/nonexistent")
		began := time.Now()
		text, err := cmd.Output()
		if err != nil {
			return nil, 0, fmt.Errorf("run %s: %w", program, err)
		}
		fastest, out = min(fastest, time.Since(began)), text
	}
	var result struct {
		Shifts []struct {
			Date    string
			Sensor  string
			Minutes float64 `json:"minutes_measured"`
			Mean    float64 `json:"mean_measured_mg_m3"`
			Max     float64 `json:"max_15min_mg_m3"`
			P50     float64 `json:"p50_mg_m3"`
			P95     float64 `json:"p95_mg_m3"`
			P99     float64 `json:"p99_mg_m3"`
			Above   float64 `json:"minutes_above_limit"`
		}
	}
	if err := json.Unmarshal(out, &result); err != nil {
		return nil, 0, err
	}
	answers := map[key]answer{}
	for _, s := range result.Shifts {
		answers[key{s.Sensor, s.Date}] = answer{s.Minutes, s.Mean, s.Max, s.P50, s.P95, s.P99, s.Above}
	}
	return answers, fastest, nil
}

// spans makes a row of each usable reading: from, how long it speaks (until the
// next, at most 5 s), and ng/m³; day by day between the first and last usable
// reading of any sensor, as dustlog takes shifts where no hours are declared.
// 1437 is the mask of the flags that take a reading out; so does a value below zero.
const spans = `
CREATE TEMP TABLE spans AS
WITH readings AS (
	SELECT sensor, time_ms AS ms, flags, CAST(round(CAST(pm2_5_ug_m3 AS DOUBLE) * 1000) AS BIGINT) AS ng,
		least(coalesce(lead(time_ms) OVER (PARTITION BY sensor ORDER BY time_ms) - time_ms, 5000), 5000) AS dt
	FROM read_parquet('%s/*/*.parquet', hive_partitioning = true) WHERE time_ms < %d),
usable AS (SELECT *, ms // 86400000 AS day FROM readings WHERE flags & 1437 = 0 AND ng >= 0),
days AS (SELECT day, min(ms) AS first, max(ms + dt) AS last FROM usable GROUP BY day),
shifts AS (SELECT day, first, least(last, coalesce(lead(first) OVER (ORDER BY day), last)) AS last FROM days)
SELECT sensor, s.day, s.first, s.last, greatest(ms, s.first) AS ms, least(ms + dt, s.last) - greatest(ms, s.first) AS dt, ng
FROM (SELECT * FROM usable UNION ALL -- what is held over midnight belongs to both days
	SELECT * REPLACE (day + 1 AS day) FROM usable WHERE ms + dt > (day + 1) * 86400000) u
JOIN shifts s ON u.day = s.day AND u.ms + u.dt > s.first AND u.ms < s.last`

// asof is the mean of the 15 minutes to the end of each reading, the reading at
// the other edge in part. It can miss the highest window by a hair, since that may
// begin with a reading instead.
const asof = `
WITH sums AS (
	SELECT sensor, day, first, ms, dt, ng,
		sum(CAST(ng * dt AS DOUBLE)) OVER w AS dose, sum(CAST(dt AS DOUBLE)) OVER w AS measured FROM spans
	WINDOW w AS (PARTITION BY sensor, day ORDER BY ms ROWS UNBOUNDED PRECEDING)),
ends AS (SELECT sensor, day, ms + dt - 900000 AS t, dose, measured FROM sums WHERE ms + dt - 900000 >= first)
SELECT e.sensor, e.day, max((e.dose - coalesce(s.dose - s.ng * greatest(s.ms + s.dt - e.t, 0), 0))
	/ (e.measured - coalesce(s.measured - greatest(s.ms + s.dt - e.t, 0), 0))) AS highest
FROM ends e ASOF LEFT JOIN sums s ON e.sensor = s.sensor AND e.day = s.day AND e.t >= s.ms
WHERE e.measured - coalesce(s.measured - greatest(s.ms + s.dt - e.t, 0), 0) >= 675000
GROUP BY e.sensor, e.day`

// ranged is the mean over the readings that begin in the 15 minutes up to each
// reading: whole readings only, the form that comes to mind first.
const ranged = `
SELECT sensor, day, max(dose / measured) AS highest FROM (
	SELECT sensor, day, first, ms, sum(CAST(ng * dt AS DOUBLE)) OVER w AS dose, sum(CAST(dt AS DOUBLE)) OVER w AS measured FROM spans
	WINDOW w AS (PARTITION BY sensor, day ORDER BY ms RANGE BETWEEN 899999 PRECEDING AND CURRENT ROW))
WHERE measured >= 675000 AND ms - 900000 >= first GROUP BY sensor, day`

const summary = `
WITH levels AS (SELECT sensor, day, ng, sum(dt) AS dt FROM spans GROUP BY sensor, day, ng),
ranked AS (SELECT *, sum(dt) OVER (PARTITION BY sensor, day ORDER BY ng) AS below, sum(dt) OVER (PARTITION BY sensor, day) AS total FROM levels),
figures AS (SELECT sensor, day, sum(ng * dt) / any_value(total) AS mean, any_value(total) AS measured,
	min(ng) FILTER (below * 100 >= 50 * total) AS p50, min(ng) FILTER (below * 100 >= 95 * total) AS p95, min(ng) FILTER (below * 100 >= 99 * total) AS p99,
	coalesce(sum(dt) FILTER (ng > %d), 0) AS above FROM ranked GROUP BY sensor, day)
SELECT sensor, strftime(make_timestamp(day * 86400000000), '%%Y-%%m-%%d'), measured / 60000, mean / 1e6, highest / 1e6, p50 / 1e6, p95 / 1e6, p99 / 1e6, above / 60000
FROM figures JOIN (%s) rolling USING (sensor, day)`

func duckdb(ctx context.Context, store string, days int, rolling string) (map[key]answer, time.Duration, error) {
	db, err := sql.Open("duckdb", "")
	if err != nil {
		return nil, 0, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1) // a temporary table belongs to its connection
	began := time.Now()
	if _, err := db.ExecContext(ctx, fmt.Sprintf(spans, store+".days", begin.AddDate(0, 0, days).UnixMilli())); err != nil {
		return nil, 0, err
	}
	rows, err := db.QueryContext(ctx, fmt.Sprintf(summary, int64(limit*1e6), rolling))
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close()
	answers := map[key]answer{}
	for rows.Next() {
		var k key
		var a answer
		if err := rows.Scan(&k.sensor, &k.date, &a.minutes, &a.mean, &a.max15, &a.p50, &a.p95, &a.p99, &a.above); err != nil {
			return nil, 0, err
		}
		answers[k] = a
	}
	return answers, time.Since(began), rows.Err()
}

// compare fails if an answer differs. The highest 15 minutes of both SQL forms
// are taken at readings only, so dustlog's may be above theirs, by less than one
// reading can make in 15 minutes.
func compare(ours, theirs map[key]answer) error {
	if len(ours) != len(theirs) {
		return fmt.Errorf("%d sensor days, dustlog has %d", len(theirs), len(ours))
	}
	widest := 0.0
	for k, a := range ours {
		b, ok := theirs[k]
		if !ok {
			return fmt.Errorf("%s %s is missing", k.sensor, k.date)
		}
		for _, pair := range [][2]float64{{a.minutes, b.minutes}, {a.mean, b.mean}, {a.p50, b.p50}, {a.p95, b.p95}, {a.p99, b.p99}, {a.above, b.above}} {
			if math.Abs(pair[0]-pair[1]) > 1e-12*math.Max(1, math.Abs(pair[0])) {
				return fmt.Errorf("%s %s: dustlog has %+v, DuckDB %+v", k.sensor, k.date, a, b)
			}
		}
		apart := math.Abs(a.max15/b.max15 - 1)
		if widest = max(widest, apart); apart > 0.005 {
			return fmt.Errorf("%s %s: highest 15 minutes %g, DuckDB %g", k.sensor, k.date, a.max15, b.max15)
		}
	}
	fmt.Printf("  all %d sensor days agree; highest 15 minutes at most %.4f %% apart\n", len(ours), 100*widest)
	return nil
}
