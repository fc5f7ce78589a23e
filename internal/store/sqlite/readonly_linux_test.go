package sqlite_test

import (
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// asNobody runs f without the right to write what others may only read, also if
// the tests run as root. It must stay on its thread: only that one's rights change.
func asNobody(t *testing.T, f func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		f()
		return
	}
	const nobody = 65534
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	require.NoError(t, syscall.Setfsuid(nobody))
	defer func() { require.NoError(t, syscall.Setfsuid(0)) }()
	f()
}

// TestFolderThatCannotBeWritten reads a store as from a mounted backup.
func TestFolderThatCannotBeWritten(t *testing.T) {
	path := filled(t, 10)
	dir := filepath.Dir(path)
	for parent := dir; parent != os.TempDir() && len(parent) > 1; parent = filepath.Dir(parent) {
		require.NoError(t, os.Chmod(parent, 0o755)) // so that others may look in
	}
	require.NoError(t, os.Chmod(path, 0o444))
	require.NoError(t, os.Chmod(dir, 0o555))
	t.Cleanup(func() { _ = os.Chmod(dir, 0o755) })

	asNobody(t, func() {
		require.Error(t, os.WriteFile(filepath.Join(dir, "x"), nil, 0o600), "the test needs a folder it cannot write to")
		s, err := sqlite.Open(t.Context(), path, sqlite.Options{ReadOnly: true})
		require.NoError(t, err)
		require.Len(t, storetest.All(t, s, dust.Query{}), 10)
		require.NoError(t, s.Close())

		_, err = sqlite.Open(t.Context(), path, sqlite.Options{})
		require.ErrorContains(t, err, path)
		require.NotErrorIs(t, err, dust.ErrStoreBusy)
		t.Log(err)
		_, err = sqlite.Open(t.Context(), filepath.Join(dir, "new", "dust.db"), sqlite.Options{Create: true})
		require.ErrorContains(t, err, "make the store's folder")
	})
}
