package sqlite_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// smallDisk mounts a disk of some megabytes, which only root may do.
func smallDisk(t *testing.T, options string) (folder string) {
	t.Helper()
	folder = t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, options); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(folder, 0)) })
	return folder
}

// fill leaves about so many bytes free on the disk.
func fill(t *testing.T, folder string, leave int64) (file string) {
	t.Helper()
	var free syscall.Statfs_t
	require.NoError(t, syscall.Statfs(folder, &free))
	file = filepath.Join(folder, "filler")
	require.NoError(t, os.WriteFile(file, make([]byte, max(int64(free.Bavail)*free.Bsize-leave, 0)), 0o600))
	return file
}

// TestDiskFull lets the disk run full while appending, sealing and copying: the
// message must say so, what was acknowledged must stay readable, and all must go
// on once there is room.
func TestDiskFull(t *testing.T) {
	alone(t)
	folder := smallDisk(t, "size=6m")
	path := filepath.Join(folder, "dust.db")
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	all := storetest.Readings("bench", midnight, 200_000)
	acknowledged := 0
	for acknowledged < len(all) {
		added, err := s.Append(t.Context(), all[acknowledged:acknowledged+500])
		if err != nil {
			require.ErrorContains(t, err, "the disk is full")
			require.ErrorContains(t, err, path)
			break
		}
		acknowledged += added
	}
	require.Less(t, acknowledged, len(all), "the disk never ran full")
	require.Greater(t, acknowledged, 1000)
	storetest.Same(t, all[:acknowledged], storetest.All(t, s, dust.Query{}))
	requireClean(t, s, "full while appending")

	_, err = s.Seal(t.Context(), time.Now())
	require.ErrorIs(t, err, syscall.ENOSPC)
	require.ErrorContains(t, err, path+".days")
	t.Log(err)
	storetest.Same(t, all[:acknowledged], storetest.All(t, s, dust.Query{}))
	requireClean(t, s, "full while sealing")

	_, err = s.Backup(t.Context(), filepath.Join(folder, "copy.db"), sqlite.BackupOptions{})
	require.ErrorContains(t, err, "copy.db")
	left, err := filepath.Glob(filepath.Join(folder, "copy*"))
	require.NoError(t, err)
	require.Empty(t, left, "what is not whole must not stay")
}

// TestDiskFullWhileSealing has room for some of the steps of sealing only, a little more
// each time.
func TestDiskFullWhileSealing(t *testing.T) {
	alone(t)
	folder := smallDisk(t, "size=12m")
	s, err := sqlite.Open(t.Context(), filepath.Join(folder, "dust.db"), sqlite.Options{Create: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	all := storetest.Readings("bench", midnight, 8_000)
	_, err = s.Append(t.Context(), all)
	require.NoError(t, err)
	failures := 0
	for leave := int64(0); ; leave += 16 << 10 {
		filler := fill(t, folder, leave)
		_, err := s.Seal(t.Context(), time.Now())
		require.NoError(t, os.Remove(filler))
		storetest.Same(t, all, storetest.All(t, s, dust.Query{}))
		requireClean(t, s, "full while sealing")
		if err == nil {
			break
		}
		failures++
		require.True(t, errors.Is(err, syscall.ENOSPC) || strings.Contains(err.Error(), "the disk is full"), "%v", err)
	}
	require.Greater(t, failures, 1)
	t.Logf("%d attempts failed before there was room", failures)
}

// TestReadOnlyDisk reads a store with sealed days from a disk that cannot be
// written, not even by root.
func TestReadOnlyDisk(t *testing.T) {
	folder := smallDisk(t, "size=12m")
	path := filepath.Join(folder, "dust.db")
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
	require.NoError(t, err)
	all := week(midnight, 3)
	_, err = s.Append(t.Context(), all)
	require.NoError(t, err)
	_, err = s.Seal(t.Context(), midnight.Add(48*time.Hour))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.NoError(t, syscall.Mount("", folder, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))

	s, err = sqlite.Open(t.Context(), path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	storetest.Same(t, all, storetest.All(t, s, dust.Query{}))
	requireClean(t, s, "read-only")
	copied := filepath.Join(t.TempDir(), "copy.db")
	_, err = s.Backup(t.Context(), copied, sqlite.BackupOptions{})
	require.NoError(t, err)
	require.True(t, check(t, copied).Clean)
	require.NoError(t, s.Close())
	_, err = sqlite.Open(t.Context(), path, sqlite.Options{})
	require.ErrorContains(t, err, path)
	t.Log(err)
}
