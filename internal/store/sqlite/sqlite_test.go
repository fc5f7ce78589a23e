package sqlite_test

import (
	"database/sql"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"dustlog/internal/dust"
	"dustlog/internal/store"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

var start = time.Date(2025, 3, 10, 8, 0, 0, 0, time.UTC)

// alone skips a test that does one thing at a time, and much of it, in the short
// run: that is the race detector's.
func alone(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and nothing runs beside it")
	}
}

func TestMain(m *testing.M) {
	if path := os.Getenv(appenderEnv); path != "" {
		appendForever(path)
	}
	if order := os.Getenv(sealerEnv); order != "" {
		appendAndSeal(order)
	}
	goleak.VerifyTestMain(m)
}

// tempStore opens a new store. When the test ends, the file must pass SQLite's
// own check.
func tempStore(t testing.TB) *sqlite.Store {
	t.Helper()
	path := filepath.Join(t.TempDir(), "new folder", "dust 100%?#.db")
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, s.Close())
		checkIntegrity(t, path)
	})
	return s
}

// rawDB opens the file without our own code.
func rawDB(t testing.TB, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	return db
}

func checkIntegrity(t testing.TB, path string) {
	t.Helper()
	// The driver takes what follows a question mark in a plain name for options.
	plain := filepath.Join(filepath.Dir(path), "plain.db")
	require.NoError(t, os.Rename(path, plain))
	db, err := sql.Open("sqlite", plain)
	require.NoError(t, err)
	defer db.Close()
	for question, want := range map[string]string{
		"PRAGMA integrity_check":                          "ok",
		"SELECT count(*) FROM pragma_foreign_key_check()": "0",
		`SELECT count(*) FROM sensor AS s WHERE (readings, first_ms, last_ms) IS NOT
			(SELECT sum(n), min(lo), max(hi) FROM
				(SELECT count(*) AS n, min(time_ms) AS lo, max(time_ms) AS hi FROM reading WHERE sensor_id = s.id
				UNION ALL SELECT sum(readings - superseded), min(first_ms), max(last_ms) FROM sealed_day WHERE sensor_id = s.id))`: "0",
	} {
		var got string
		require.NoError(t, db.QueryRow(question).Scan(&got))
		require.Equal(t, want, got, question)
	}
}

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Store { return tempStore(t) })
}

// TestNegativeZero pins the one number that does not come back as it went in.
func TestNegativeZero(t *testing.T) {
	s := tempStore(t)
	r := dust.Reading{Time: start, Sensor: "bench"}
	r.Values.Set(dust.Temperature, math.Copysign(0, -1))
	_, err := s.Append(t.Context(), []dust.Reading{r})
	require.NoError(t, err)
	x, ok := storetest.All(t, s, dust.Query{})[0].Values.Get(dust.Temperature)
	require.True(t, ok)
	require.Zero(t, math.Float64bits(x))
}

func TestSeries(t *testing.T) {
	s := tempStore(t)
	batch := storetest.Readings("bench", start, 100)
	batch[10].Values.Unset(dust.PM25)
	batch[20].Flags = dust.Saturated | dust.Humid // the fine mass is saturated
	_, err := s.Append(t.Context(), append(batch, storetest.Readings("other", start, 100)...))
	require.NoError(t, err)
	sensor := dust.Sensor{Name: "bench", Model: "model", Position: dust.Room}
	got, err := s.Series(t.Context(), sensor, []dust.Channel{dust.PM25, dust.PM10, dust.PM25, dust.Humidity}, start.Add(5*time.Second), start.Add(30*time.Second))
	require.NoError(t, err)
	require.Len(t, got, 3)
	require.Equal(t, sensor, got[dust.PM25].Sensor)
	require.Equal(t, 24, got[dust.PM25].Len(), "a missing value has no place in the series")
	require.Equal(t, 25, got[dust.PM10].Len())
	require.Zero(t, got[dust.Humidity].Len())
	at, x, flags := got[dust.PM10].At(15)
	require.Equal(t, start.Add(20*time.Second), at)
	require.Equal(t, 4.0, x) // 20/10 + 2, see storetest.Readings
	require.Equal(t, dust.Humid, flags)
	_, _, flags = got[dust.PM25].At(14)
	require.Equal(t, dust.Saturated|dust.Humid, flags)

	got, err = s.Series(t.Context(), dust.Sensor{Name: "nobody"}, []dust.Channel{dust.PM25}, time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Zero(t, got[dust.PM25].Len())
}
