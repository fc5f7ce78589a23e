//go:build unix

package cli

import (
	"io"
	"net"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The words are those of sd_notify(3): READY=1 and WATCHDOG=1.
func TestSignOfLife(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	defer manager.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	next := func() string {
		said := make([]byte, 64)
		n, err := manager.Read(said)
		require.NoError(t, err)
		return string(said[:n])
	}

	turn := (&app{Env: Env{Stderr: io.Discard}}).signOfLife()
	turn()
	turn()
	require.Equal(t, []string{"READY=1", "WATCHDOG=1", "WATCHDOG=1"}, []string{next(), next(), next()})

	t.Setenv("NOTIFY_SOCKET", "")
	turn() // nobody listens
}
