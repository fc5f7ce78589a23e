package store_test

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/sqlite"
)

var (
	_ store.Store = (*sqlite.Store)(nil)
	_ store.Store = (*influx.Store)(nil)
)

func TestOpen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "dust.db")
	s, err := store.Open(t.Context(), path, store.Options{Create: true})
	require.NoError(t, err)
	require.IsType(t, &sqlite.Store{}, s)
	require.NoError(t, s.Close())
	s, err = store.Open(t.Context(), path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

func TestOpenFails(t *testing.T) {
	for dsn, want := range map[string]string{
		filepath.Join(t.TempDir(), "none.db"): dust.ErrNoStore.Error(),
		"influx://127.0.0.1:1/dust":           "check that the server runs",
		"influxs://127.0.0.1:1/dust":          "https://127.0.0.1:1/dust",
		"postgres://host/secret":              `unknown kind "postgres"`,
	} {
		s, err := store.Open(t.Context(), dsn, store.Options{})
		require.ErrorContains(t, err, want, dsn)
		require.True(t, s == nil, "%s: a failed store must compare equal to nil", dsn)
		require.NotContains(t, err.Error(), "secret")
	}
}
