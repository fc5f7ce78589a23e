package sealed_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/store/sealed"
)

// FuzzOpen: whatever a file holds, it is read or called damaged; nothing panics,
// and memory stays in proportion to the file.
func FuzzOpen(f *testing.F) {
	path, _ := save(f, typical(60))
	whole, err := os.ReadFile(path)
	require.NoError(f, err)
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Add([]byte("PAR1PAR1"))
	f.Fuzz(func(t *testing.T, content []byte) {
		path := filepath.Join(t.TempDir(), "x.parquet")
		require.NoError(t, os.WriteFile(path, content, 0o600))
		file, err := sealed.Open(path)
		if err != nil {
			require.ErrorIs(t, err, sealed.ErrDamaged)
			return
		}
		defer file.Close()
		var table sealed.Table
		if err := file.Read(nil, &table); err != nil {
			require.ErrorIs(t, err, sealed.ErrDamaged)
			return
		}
		require.Len(t, table.Flags, len(table.MS))
	})
}
