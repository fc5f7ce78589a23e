package sqlite_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// keep adds calibrations and retires those that are to be.
func keep(t *testing.T, s *sqlite.Store, list []dust.Calibration) {
	t.Helper()
	for _, c := range list {
		fresh := c
		fresh.ID, fresh.Retired, fresh.RetiredWhy = 0, time.Time{}, ""
		added, err := s.AddCalibration(t.Context(), fresh)
		require.NoError(t, err)
		require.Equal(t, c.ID, added.ID)
		if !c.InUse() {
			retired, err := s.RetireCalibration(t.Context(), c.ID, c.RetiredWhy, c.Retired)
			require.NoError(t, err)
			require.Equal(t, c, retired)
		}
	}
}

func TestCalibrations(t *testing.T) {
	storetest.RunCalibrations(t, func(t *testing.T, held []dust.Calibration) store.Calibrations {
		s := tempStore(t)
		keep(t, s, held)
		return s
	})
}

func TestBadCalibrationsAreRefused(t *testing.T) {
	s := tempStore(t)
	good := storetest.Calibrations()[0]
	for what, change := range map[string]func(*dust.Calibration){
		"unknown kind": func(c *dust.Calibration) { c.Kind = "flarp" },
		"no sensor":    func(c *dust.Calibration) { c.Sensor = " " },
		"no time":      func(c *dust.Calibration) { c.From = time.Time{} },
		"no numbers":   func(c *dust.Calibration) { c.Numbers = "" },
		"not JSON":     func(c *dust.Calibration) { c.Numbers = "{" },
		"is retired":   func(c *dust.Calibration) { c.Retired = c.Made },
		"backwards":    func(c *dust.Calibration) { c.To = c.From.Add(-time.Second) },
	} {
		bad := good
		change(&bad)
		_, err := s.AddCalibration(t.Context(), bad)
		require.ErrorContains(t, err, what)
	}
	list, err := s.Calibrations(t.Context())
	require.NoError(t, err)
	require.Empty(t, list)
}

func TestACalibrationIsRetiredOnce(t *testing.T) {
	s := tempStore(t)
	held := storetest.Calibrations()
	keep(t, s, held)
	again, err := s.RetireCalibration(t.Context(), 3, "another reason", held[2].Retired.Add(time.Hour))
	require.NoError(t, err)
	require.Equal(t, held[2], again, "the first reason and moment stay")
	_, err = s.RetireCalibration(t.Context(), 99, "", start)
	require.ErrorIs(t, err, dust.ErrUnknownCalibration)
}

// TestNobodyChangesACalibration: not even another program that opens the file.
func TestNobodyChangesACalibration(t *testing.T) {
	path := filled(t, 1)
	s, err := open(t, path, sqlite.Options{})
	require.NoError(t, err)
	held := storetest.Calibrations()
	keep(t, s, held)
	db := rawDB(t, path)
	for _, statement := range []string{
		"DELETE FROM calibration WHERE id = 1",
		"UPDATE calibration SET numbers = '{}' WHERE id = 1",
		"UPDATE calibration SET numbers = '{}', retired_ms = 5 WHERE id = 1",
		"UPDATE calibration SET expires_ms = 5, retired_ms = 5 WHERE id = 2",
		"UPDATE calibration SET valid_ms = NULL, retired_ms = 5 WHERE id = 2",
		"UPDATE calibration SET retired_why = 'x' WHERE id = 3",
		"UPDATE calibration SET retired_ms = NULL WHERE id = 3",
	} {
		_, err = db.Exec(statement)
		require.ErrorContains(t, err, "a calibration is never", statement)
	}
	got, err := s.Calibrations(t.Context())
	require.NoError(t, err)
	require.Equal(t, held, got)
}

// TestCalibrationsGoWithTheStore: into a backup, and to a server's copy.
func TestCalibrationsGoWithTheStore(t *testing.T) {
	s := tempStore(t)
	held := storetest.Calibrations()
	require.NoError(t, s.AddForwardTarget(t.Context(), "there"))
	first, err := s.ForwardDiary(t.Context(), "there")
	require.NoError(t, err)
	require.NoError(t, s.ForwardDiaryShipped(t.Context(), "there", *first))
	keep(t, s, held)
	diary, err := s.ForwardDiary(t.Context(), "there")
	require.NoError(t, err)
	require.NotNil(t, diary, "a new calibration is to be copied")
	require.Equal(t, held, diary.Calibrations)

	path := t.TempDir() + "/backup.db"
	_, err = s.Backup(t.Context(), path, sqlite.BackupOptions{})
	require.NoError(t, err)
	copied, err := sqlite.Open(t.Context(), path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	defer copied.Close()
	got, err := copied.Calibrations(t.Context())
	require.NoError(t, err)
	require.Equal(t, held, got)
}
