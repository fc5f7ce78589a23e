package sqlite_test

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// mixed makes a store of three days of two sensors, the first two days sealed,
// with late readings on the second.
func mixed(t *testing.T) (path string, readings int) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "dust.db")
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
	require.NoError(t, err)
	all := week(midnight, 3)
	_, err = s.Append(t.Context(), all)
	require.NoError(t, err)
	_, err = s.Seal(t.Context(), midnight.Add(48*time.Hour))
	require.NoError(t, err)
	late := storetest.Readings("room", midnight.Add(30*time.Hour+time.Millisecond), 60)
	_, err = s.Append(t.Context(), late)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return path, len(all) + len(late)
}

func check(t *testing.T, path string) sqlite.CheckReport {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.Equal(t, len(report.Problems) == 0, report.Clean)
	return report
}

func TestCheckClean(t *testing.T) {
	path, n := mixed(t)
	report := check(t, path)
	require.True(t, report.Clean, "%v", report.Problems)
	require.Empty(t, report.Remarks)
	require.Len(t, report.Sensors, 2)
	require.EqualValues(t, n, report.Sensors[0].Readings+report.Sensors[1].Readings)
	require.EqualValues(t, 24*60+60, report.Sensors[1].Rows, "the third day and the late readings")
	require.Equal(t, 2, report.Sensors[1].SealedDays)
	require.Len(t, report.Days, 6)
	require.Zero(t, report.Sensors[0].Gaps, "one reading a minute is no row of gaps")
}

func TestCheckGaps(t *testing.T) {
	s := tempStore(t)
	// One a second; one reading is missing, which the hold time bridges, then ten
	// minutes are.
	all := storetest.Readings("bench", start, 1000)
	all = append(all, storetest.Readings("bench", start.Add(1001*time.Second), 1000)...)
	all = append(all, storetest.Readings("bench", start.Add(2600*time.Second), 1000)...)
	_, err := s.Append(t.Context(), all)
	require.NoError(t, err)
	for range 2 {
		report, err := s.Check(t.Context())
		require.NoError(t, err)
		require.True(t, report.Clean)
		require.Len(t, report.Days, 1)
		require.Equal(t, 1, report.Days[0].Gaps)
		require.Equal(t, 600.0, report.Days[0].LongestGap) // 2600 - (1001 + 999)
		_, err = s.Seal(t.Context(), time.Now())
		require.NoError(t, err)
	}
}

// TestSealedFileDamage damages one sealed file in several ways: the message must
// name it, all else must stay readable, appending and sealing must go on, and
// nothing may be taken for whole that is not.
func TestSealedFileDamage(t *testing.T) {
	alone(t)
	for name, damage := range map[string]func(path string) error{
		"missing":   os.Remove,
		"truncated": func(path string) error { return os.Truncate(path, 1000) },
		"empty":     func(path string) error { return os.Truncate(path, 0) },
		"one byte": func(path string) error {
			content, err := os.ReadFile(path)
			if err == nil {
				content[len(content)/3] ^= 4
				err = os.WriteFile(path, content, 0o600)
			}
			return err
		},
		"another day": func(path string) error {
			content, err := os.ReadFile(strings.Replace(path, "03-11", "03-10", 1))
			if err == nil {
				err = os.WriteFile(path, content, 0o600)
			}
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			path, n := mixed(t)
			file := filepath.Join(path+".days", "sensor=room", "2025-03-11.parquet")
			whole, err := os.ReadFile(file)
			require.NoError(t, err)
			require.NoError(t, damage(file))

			report := check(t, path)
			require.Len(t, report.Problems, 1, "%v", report.Problems)
			found := report.Problems[0]
			require.Equal(t, "sealed", found.Kind)
			require.Equal(t, "2025-03-11", found.Day)
			require.Equal(t, file, found.File)
			require.Contains(t, found.Text, "restore")
			t.Log(found.Text)
			require.EqualValues(t, 24*60, report.Sensors[1].Unreadable)

			s, err := open(t, path, sqlite.Options{})
			require.NoError(t, err)
			require.Len(t, storetest.All(t, s, dust.Query{Sensors: []string{"Bench saw"}}), 3*24*60)
			require.Len(t, storetest.All(t, s, dust.Query{To: midnight.Add(24 * time.Hour)}), 2*24*60)
			require.Len(t, storetest.All(t, s, dust.Query{From: midnight.Add(48 * time.Hour)}), 2*24*60)
			_, err = s.Series(t.Context(), dust.Sensor{Name: "room"}, []dust.Channel{dust.PM25}, time.Time{}, time.Time{})
			if name != "one byte" || err != nil { // pages that were not asked for are not looked at
				require.ErrorContains(t, err, file)
			}
			for _, err = range s.Readings(t.Context(), dust.Query{Sensors: []string{"room"}}) {
				if err != nil {
					break
				}
			}
			require.ErrorContains(t, err, file)

			_, err = s.Append(t.Context(), storetest.Readings("room", midnight.Add(31*time.Hour+time.Millisecond), 5))
			require.NoError(t, err)
			sealing, err := s.Seal(t.Context(), time.Now())
			require.NoError(t, err)
			require.Len(t, sealing.Problems, 1)
			require.Contains(t, sealing.Problems[0], file)
			require.Equal(t, 2, sealing.Days, "the third day of both sensors")

			require.NoError(t, os.WriteFile(file, whole, 0o600))
			require.Len(t, storetest.All(t, s, dust.Query{}), n+5)
			_, err = s.Seal(t.Context(), time.Now())
			require.NoError(t, err)
			require.True(t, check(t, path).Clean)
		})
	}
}

// TestDamagedPage overwrites a page in the middle of the rows: the days before
// and after it must still be counted.
func TestDamagedPage(t *testing.T) {
	path := filepath.Join(t.TempDir(), "dust.db")
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
	require.NoError(t, err)
	_, err = s.Append(t.Context(), week(midnight, 6))
	require.NoError(t, err)
	_, err = s.Seal(t.Context(), midnight.Add(24*time.Hour))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	_, err = rawDB(t, path).Exec("VACUUM; PRAGMA wal_checkpoint(TRUNCATE)")
	require.NoError(t, err)
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	for i := range 4096 {
		content[len(content)/2/4096*4096+i] = 0xA5
	}
	require.NoError(t, os.WriteFile(path, content, 0o600))
	report := check(t, path)
	require.False(t, report.Clean)
	var rows []string
	for _, p := range report.Problems {
		if p.Kind == "rows" {
			rows = append(rows, p.Day)
			require.Contains(t, p.Text, "restore a backup")
		}
	}
	require.Len(t, rows, 1, "%v", report.Problems)
	whole := 0
	for _, d := range report.Days {
		if d.Readings == 24*60 {
			whole++
		} else {
			require.Equal(t, rows[0], d.Day)
		}
	}
	require.GreaterOrEqual(t, whole, 2*5-1)
}

// TestCheckFindsDoubles and strangers: they cost no reading.
func TestCheckRemarks(t *testing.T) {
	path, n := mixed(t)
	db := rawDB(t, path)
	_, err := db.Exec("INSERT INTO unsealed (key, flags) SELECT first_ms << 16 | sensor_id, 0 FROM sealed_day")
	require.NoError(t, err)
	_, err = db.Exec("UPDATE sensor SET readings = readings + 2")
	require.NoError(t, err)
	folder := filepath.Join(path+".days", "sensor=room")
	require.NoError(t, os.WriteFile(filepath.Join(folder, "2024-01-01.parquet"), nil, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(folder, ".2024-01-01-1.tmp"), nil, 0o600))
	report := check(t, path)
	require.True(t, report.Clean, "%v", report.Problems)
	require.EqualValues(t, 4, report.Doubles)
	kinds := map[string]int{}
	for _, r := range report.Remarks {
		kinds[r.Kind]++
	}
	require.Equal(t, map[string]int{"doubles": 4, "unlisted": 1, "unfinished": 1}, kinds)
	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	require.Len(t, storetest.All(t, s, dust.Query{}), n)
	sealing, err := s.Seal(t.Context(), time.Now())
	require.NoError(t, err)
	require.EqualValues(t, 4, sealing.Doubles)
	require.Zero(t, check(t, path).Doubles)

	_, err = db.Exec("UPDATE sensor SET readings = readings + 1 WHERE name = 'room'")
	require.NoError(t, err)
	require.Equal(t, "count", check(t, path).Problems[0].Kind)
}

func TestBackup(t *testing.T) {
	path, n := mixed(t)
	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	to := filepath.Join(t.TempDir(), "away", "copy.db")
	report, err := s.Backup(t.Context(), to, sqlite.BackupOptions{})
	require.NoError(t, err)
	require.Equal(t, 4, report.Files)
	require.True(t, check(t, to).Clean)
	back, err := open(t, to, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	all := storetest.All(t, s, dust.Query{})
	require.Len(t, all, n)
	storetest.Same(t, all, storetest.All(t, back, dust.Query{}))
	_, err = s.Backup(t.Context(), to, sqlite.BackupOptions{})
	require.ErrorContains(t, err, "not overwritten")

	// Back again, from a store that is only read.
	again := filepath.Join(t.TempDir(), "dust.db")
	_, err = back.Backup(t.Context(), again, sqlite.BackupOptions{})
	require.NoError(t, err)
	restored, err := open(t, again, sqlite.Options{})
	require.NoError(t, err)
	storetest.Same(t, all, storetest.All(t, restored, dust.Query{}))

	lost := filepath.Join(path+".days", "sensor=room", "2025-03-11.parquet")
	require.NoError(t, os.Remove(lost))
	other := filepath.Join(t.TempDir(), "copy.db")
	_, err = s.Backup(t.Context(), other, sqlite.BackupOptions{})
	require.ErrorContains(t, err, lost)
	require.NoFileExists(t, other)
	require.NoDirExists(t, other+".days")
	report, err = s.Backup(t.Context(), other, sqlite.BackupOptions{Partial: true})
	require.NoError(t, err)
	require.Len(t, report.Missing, 1)
	require.Len(t, check(t, other).Problems, 1)
}

// TestBackupWhileCollecting copies while readings come and days are sealed.
func TestBackupWhileCollecting(t *testing.T) {
	s := tempStore(t)
	all := week(midnight, 4)
	done := make(chan error)
	go func() {
		for i := 0; i < len(all); i += 90 {
			if _, err := s.Append(context.Background(), all[i:min(i+90, len(all))]); err != nil {
				done <- err
				return
			}
			if i%900 == 0 {
				if _, err := s.Seal(context.Background(), time.Now()); err != nil {
					done <- err
					return
				}
			}
		}
		done <- nil
	}()
	last := 0
	for i := 0; ; i++ {
		to := filepath.Join(t.TempDir(), "copy.db")
		_, err := s.Backup(t.Context(), to, sqlite.BackupOptions{})
		require.NoError(t, err)
		require.True(t, check(t, to).Clean)
		copied, err := sqlite.Open(t.Context(), to, sqlite.Options{ReadOnly: true})
		require.NoError(t, err)
		got := storetest.All(t, copied, dust.Query{})
		require.NoError(t, copied.Close())
		require.Zero(t, len(got)%90, "a batch is there in part")
		require.GreaterOrEqual(t, len(got), last)
		storetest.Same(t, all[:len(got)], got)
		if last = len(got); last == len(all) {
			break
		}
	}
	require.NoError(t, <-done)
}

func TestPrune(t *testing.T) {
	path, n := mixed(t)
	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	require.NoError(t, s.SaveReport(t.Context(), sqlite.SavedReport{Path: "week.html", Created: time.Now(),
		From: midnight.Add(40 * time.Hour), To: midnight.Add(48 * time.Hour)}))
	before := midnight.Add(72 * time.Hour)

	report, err := s.Prune(t.Context(), before, sqlite.PruneOptions{DryRun: true})
	require.NoError(t, err)
	require.Equal(t, 2, report.Days)
	require.EqualValues(t, 4*24*60, report.Readings)
	require.Equal(t, []sqlite.SparedDays{{Report: "week.html", Days: 1}}, report.Spared)
	require.Len(t, storetest.All(t, s, dust.Query{}), n)

	report, err = s.Prune(t.Context(), before, sqlite.PruneOptions{})
	require.NoError(t, err)
	require.EqualValues(t, 4*24*60, report.Readings)
	require.Equal(t, 2, report.Files)
	require.Len(t, storetest.All(t, s, dust.Query{}), n-4*24*60)
	require.NoFileExists(t, filepath.Join(path+".days", "sensor=room", "2025-03-10.parquet"))
	require.True(t, check(t, path).Clean)
	spans, err := s.Span(t.Context())
	require.NoError(t, err)
	require.Equal(t, midnight.Add(24*time.Hour), spans[0].First)
	require.Equal(t, midnight.Add(48*time.Hour-time.Minute), spans[0].Last)
	events, err := s.Events(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, "pruned", events[len(events)-1].Kind)

	report, err = s.Prune(t.Context(), before, sqlite.PruneOptions{Force: true})
	require.NoError(t, err)
	require.Equal(t, 1, report.Days)
	require.Empty(t, storetest.All(t, s, dust.Query{}))
	require.True(t, check(t, path).Clean)
	left, err := filepath.Glob(path + ".days/*/*")
	require.NoError(t, err)
	require.Empty(t, left)
	report, err = s.Prune(t.Context(), before, sqlite.PruneOptions{})
	require.NoError(t, err)
	require.Zero(t, report.Days)
}

// A calibration in use could not be judged again without its readings; a factor
// rests on samples that are listed themselves.
func TestPruneSparesCalibrations(t *testing.T) {
	path, _ := mixed(t)
	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	add := func(kind dust.CalibrationKind, from, to time.Duration) dust.Calibration {
		c, err := s.AddCalibration(t.Context(), dust.Calibration{Kind: kind, Sensor: "bench", Made: midnight, From: midnight.Add(from), To: midnight.Add(to), Numbers: "{}"})
		require.NoError(t, err)
		return c
	}
	zero := add(dust.ZeroCalibration, 40*time.Hour, 41*time.Hour)
	add(dust.FactorCalibration, 0, 72*time.Hour)
	before := midnight.Add(72 * time.Hour)

	report, err := s.Prune(t.Context(), before, sqlite.PruneOptions{DryRun: true})
	require.NoError(t, err)
	require.Equal(t, 2, report.Days)
	require.Equal(t, []sqlite.SparedDays{{Calibration: zero.ID, Days: 1}}, report.Spared)

	_, err = s.RetireCalibration(t.Context(), zero.ID, "the filter leaked", midnight)
	require.NoError(t, err)
	report, err = s.Prune(t.Context(), before, sqlite.PruneOptions{DryRun: true})
	require.NoError(t, err)
	require.Equal(t, 3, report.Days)
	require.Empty(t, report.Spared)
}

// TestFirstLayout opens a store of the first version, which knew no sealed days.
func TestFirstLayout(t *testing.T) {
	script, err := os.ReadFile("migrations/0001_initial.sql")
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "old.db")
	db := rawDB(t, path)
	_, err = db.Exec(string(script) + `;PRAGMA application_id = 1146442580; PRAGMA user_version = 1; PRAGMA journal_mode = wal;
		INSERT INTO sensor (name, model, position, readings, first_ms, last_ms) VALUES ('bench', 'm', 'room', 2, 1741564800000, 1741564801000);
		INSERT INTO reading (time_ms, sensor_id, flags, pm2_5_ug_m3) VALUES (1741564800000, 1, 0, 12.5), (1741564801000, 1, 32, NULL)`)
	require.NoError(t, err)
	want := []dust.Reading{{Time: time.UnixMilli(1741564800000).UTC(), Sensor: "bench"}, {Time: time.UnixMilli(1741564801000).UTC(), Sensor: "bench", Flags: dust.Humid}}
	want[0].Values.Set(dust.PM25, 12.5)

	old, err := open(t, path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	storetest.Same(t, want, storetest.All(t, old, dust.Query{}))
	require.True(t, check(t, path).Clean)
	reports, err := old.SavedReports(t.Context())
	require.NoError(t, err)
	require.Empty(t, reports)
	copied := filepath.Join(t.TempDir(), "copy.db")
	_, err = old.Backup(t.Context(), copied, sqlite.BackupOptions{})
	require.NoError(t, err)

	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	report, err := s.Seal(t.Context(), time.Now())
	require.NoError(t, err)
	require.Equal(t, 1, report.Days)
	storetest.Same(t, want, storetest.All(t, s, dust.Query{}))
	require.True(t, check(t, path).Clean)
}

// TestUnlistedFileIsNotRead: what the list does not have does not count.
func TestUnlistedFileIsNotRead(t *testing.T) {
	s := tempStore(t)
	_, err := s.Append(t.Context(), storetest.Readings("bench", start, 10))
	require.NoError(t, err)
	b := sealed.NewBuilder(1)
	b.Start(start.Add(time.Hour).UnixMilli(), 0)
	p, err := sealed.Prepare(s.Path()+".days/sensor=bench", "bench", sealed.DayOf(start.UnixMilli()), b.Table())
	require.NoError(t, err)
	require.NoError(t, p.Commit("2025-03-10.parquet"))
	require.Len(t, storetest.All(t, s, dust.Query{}), 10)
	_, err = s.Seal(t.Context(), time.Now())
	require.NoError(t, err)
	require.Len(t, storetest.All(t, s, dust.Query{}), 10)
	_, err = os.Stat(s.Path() + ".days/sensor=bench/2025-03-11.parquet")
	require.ErrorIs(t, err, fs.ErrNotExist)
}
