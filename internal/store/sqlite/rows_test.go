package sqlite_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// oddNumbers are those that a change of how numbers are kept could bend.
var oddNumbers = []float64{0, 0.1, 0.01, 0.07, 0.001, 12.3, 12.34, 12.345, -0.7, -99.99, 1.0 / 3, 1e-300, 5e-324, 1e12, 1e15 + 0.1,
	math.MaxFloat64, 1 << 53, 1<<53 - 1, 65535, 9_999_999.99, 10_000_000.01, 21_474_836.47, math.Nextafter(0.1, 1), float64(float32(1.2345))}

// fifthLayout makes a store of the layout before table unsealed, whose rows are
// the odd numbers, from before 1970 on.
func fifthLayout(t *testing.T) (path string, want []dust.Reading) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "old.db")
	db := rawDB(t, path)
	scripts, err := filepath.Glob("migrations/000[1-5]_*.sql")
	require.NoError(t, err)
	require.Len(t, scripts, 5)
	for _, script := range scripts {
		text, err := os.ReadFile(script)
		require.NoError(t, err)
		_, err = db.Exec(string(text))
		require.NoError(t, err)
	}
	_, err = db.Exec(`PRAGMA application_id = 1146442580; PRAGMA user_version = 5; PRAGMA journal_mode = wal;
		INSERT INTO sensor (id, name, model, position) VALUES (3, 'bench', 'm', 'room'), (65535, 'last', 'm', 'room')`)
	require.NoError(t, err)
	for i, x := range oddNumbers {
		for _, sensor := range []string{"bench", "last"} {
			r := dust.Reading{Time: time.UnixMilli(int64(i-3) * 1000).UTC(), Sensor: sensor, Flags: dust.Flags(i)}
			r.Values.Set(dust.PM25, x)
			if i%2 == 0 {
				r.Values.Set(dust.Formaldehyde, -x)
			}
			want = append(want, r)
			y, _ := r.Values.Get(dust.Formaldehyde)
			_, err := db.Exec(`INSERT INTO reading (time_ms, sensor_id, flags, pm2_5_ug_m3, formaldehyde_mg_m3)
				SELECT ?, id, ?, ?, iif(? % 2, NULL, ?) FROM sensor WHERE name = ?`, r.Time.UnixMilli(), i, x, i, y, sensor)
			require.NoError(t, err)
		}
	}
	_, err = db.Exec(`UPDATE sensor SET (readings, first_ms, last_ms) =
		(SELECT count(*), min(time_ms), max(time_ms) FROM reading WHERE sensor_id = id)`)
	require.NoError(t, err)
	return path, want
}

// TestRowsOfOldLayout reads a store of the layout before, and brings it to the
// new one: every number must stay what it was, bit for bit.
func TestRowsOfOldLayout(t *testing.T) {
	path, want := fifthLayout(t)
	old, err := open(t, path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	storetest.Same(t, want, storetest.All(t, old, dust.Query{}))
	storetest.Same(t, want[10:20], storetest.All(t, old, dust.Query{From: want[10].Time, To: want[20].Time}))
	require.True(t, check(t, path).Clean)
	require.NoError(t, old.Close())

	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	requireOnce(t, s, want)
	require.True(t, check(t, path).Clean)
	// The view shows what the table showed.
	db := rawDB(t, path)
	for i, r := range want {
		var flags int
		var x float64
		var y *float64
		require.NoError(t, db.QueryRow(`SELECT flags, pm2_5_ug_m3, formaldehyde_mg_m3 FROM reading JOIN sensor ON id = sensor_id
			WHERE time_ms = ? AND name = ?`, r.Time.UnixMilli(), r.Sensor).Scan(&flags, &x, &y))
		require.EqualValues(t, r.Flags, flags)
		require.Equal(t, oddNumbers[i/2], x)
		require.Equal(t, i/2%2 == 0, y != nil)
	}
	// Appended anew, they are the same ones; sealed, too.
	added, err := s.Append(t.Context(), want)
	require.NoError(t, err)
	require.Zero(t, added)
	_, err = s.Seal(t.Context(), time.Now())
	require.NoError(t, err)
	requireOnce(t, s, want)
}

// TestOldLayoutForwarded: the trigger that notes what a copy lacks goes with the
// old table and must be there for the new one.
func TestOldLayoutForwarded(t *testing.T) {
	path, want := fifthLayout(t)
	_, err := rawDB(t, path).Exec("INSERT INTO forward_target (name) VALUES (?)", target)
	require.NoError(t, err)
	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	ranges, _ := lacking(t, s)
	require.Empty(t, ranges, "a change of layout makes no new readings")
	late := storetest.Readings("bench", want[0].Time.Add(-time.Hour), 3)
	append1(t, s, late)
	_, got := lacking(t, s)
	storetest.Same(t, late, got)
}

// TestNoKey: a time or a sensor too many has no key and is refused whole.
func TestNoKey(t *testing.T) {
	s, err := open(t, filepath.Join(t.TempDir(), "dust.db"), sqlite.Options{Create: true})
	require.NoError(t, err)
	far := time.UnixMilli(1<<47 - 1).UTC() // in the year 6429
	append1(t, s, []dust.Reading{{Time: far, Sensor: "bench"}, {Time: time.UnixMilli(-1 << 47).UTC(), Sensor: "bench"}})
	for _, r := range []dust.Reading{{Time: far.Add(time.Millisecond), Sensor: "bench"}, {Time: time.UnixMilli(-1<<47 - 1), Sensor: "bench"}} {
		_, err := s.Append(t.Context(), []dust.Reading{{Time: start, Sensor: "bench"}, r})
		require.ErrorContains(t, err, "reading 2 of 2")
	}
	require.Len(t, storetest.All(t, s, dust.Query{}), 2)
	require.Len(t, storetest.All(t, s, dust.Query{From: far}), 1)
	require.Empty(t, storetest.All(t, s, dust.Query{From: far.Add(time.Hour)}))
	require.Empty(t, storetest.All(t, s, dust.Query{To: time.UnixMilli(-1 << 47)}))

	_, err = rawDB(t, s.Path()).Exec("INSERT INTO sensor (id, name, model, position) VALUES (65535, 'last', '', '')")
	require.NoError(t, err)
	_, err = s.Append(t.Context(), []dust.Reading{{Time: start, Sensor: "one too many"}})
	require.ErrorContains(t, err, "one too many")
}

// TestAppendPartlyKnown mixes sensors, and new readings with known ones: the sums
// must come out by sensor.
func TestAppendPartlyKnown(t *testing.T) {
	s := tempStore(t)
	a, b := storetest.Readings("a", start, 200), storetest.Readings("b", start.Add(500*time.Millisecond), 200)
	append1(t, s, slices.Concat(a[50:90], b[100:103]))
	added, err := s.Append(t.Context(), slices.Concat(b, a, a[:7]))
	require.NoError(t, err)
	require.Equal(t, 400-43, added)
	all := slices.Concat(a, b)
	sortReadings(all)
	requireOnce(t, s, all)
}

// TestCheckWhileCollecting: a check beside a collector that seals must not take
// what goes on for damage.
func TestCheckWhileCollecting(t *testing.T) {
	s := tempStore(t)
	other, err := open(t, s.Path(), sqlite.Options{})
	require.NoError(t, err)
	s.SliceRows(50)
	all := week(midnight, map[bool]int{false: 3, true: 1}[testing.Short()])
	done := make(chan error, 1)
	go func() {
		for i := 0; i < len(all); i += 120 {
			// Every third batch is late.
			batch := slices.Clone(all[i:min(i+120, len(all))])
			if i%360 == 0 {
				for k := range batch {
					batch[k].Time = batch[k].Time.Add(-24*time.Hour + time.Millisecond)
				}
			}
			if _, err := s.Append(context.Background(), batch); err != nil {
				done <- err
				return
			}
			if _, err := s.Seal(context.Background(), time.Now()); err != nil {
				done <- err
				return
			}
		}
		done <- nil
	}()
	for n := 0; ; n++ {
		select {
		case err := <-done:
			require.NoError(t, err)
			require.NoError(t, other.Close())
			t.Logf("%d checks", n)
			return
		default:
		}
		report, err := other.Check(t.Context())
		require.NoError(t, err)
		require.True(t, report.Clean, "%v", report.Problems)
	}
}

// TestNumbersTakeFewBytes pins what the layout is for.
func TestNumbersTakeFewBytes(t *testing.T) {
	path := filepath.Join(t.TempDir(), "dust.db")
	s, err := open(t, path, sqlite.Options{Create: true})
	require.NoError(t, err)
	append1(t, s, benchReadings(midnight, 20_000))
	require.NoError(t, s.Close())
	info, err := os.Stat(path)
	require.NoError(t, err)
	// 12 numbers of 2 or 3 bytes, 24 type bytes, 9 of key, 3 of frame, on pages that are full.
	require.Less(t, info.Size(), int64(20_000*75), "%d bytes a reading", info.Size()/20_000)
}
