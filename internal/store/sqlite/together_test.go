package sqlite_test

import (
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// TestMadeAtOnce opens one new file several times at once, as programs started
// together would.
func TestMadeAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plain.db")
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			s, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
			if !assert.NoError(t, err) {
				return
			}
			_, err = s.Append(t.Context(), storetest.Readings(fmt.Sprint("sensor ", i), start, 10))
			assert.NoError(t, err)
			assert.NoError(t, s.Close())
		})
	}
	all.Wait()
	s, err := open(t, path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	require.Len(t, storetest.All(t, s, dust.Query{}), 80)
	require.NoError(t, s.Close())
	checkIntegrity(t, path)
}

// TestUsedAtOnce writes and reads one store from several goroutines.
func TestUsedAtOnce(t *testing.T) {
	s := tempStore(t)
	const batches, size = 20, 25
	var all sync.WaitGroup
	for i := range 4 {
		name := fmt.Sprint("sensor ", i)
		all.Go(func() {
			for k := range batches {
				added, err := s.Append(t.Context(), storetest.Readings(name, start.Add(time.Duration(k)*time.Hour), size))
				assert.NoError(t, err)
				assert.Equal(t, size, added)
			}
		})
		all.Go(func() {
			for range batches {
				n := 0
				for _, err := range s.Readings(t.Context(), dust.Query{Sensors: []string{name}}) {
					assert.NoError(t, err)
					n++
				}
				assert.Zero(t, n%size, "a batch is seen whole or not at all")
				assert.NoError(t, s.PutSensor(t.Context(), dust.Sensor{Name: name, Model: "m", Position: dust.Room}))
			}
		})
	}
	all.Wait()
	spans, err := s.Span(t.Context())
	require.NoError(t, err)
	require.Len(t, spans, 4)
	for _, p := range spans {
		require.EqualValues(t, batches*size, p.Count)
	}
}

// TestWritersQueue appends during a long import. Within one program a writer
// waits its turn, however short the busy timeout.
func TestWritersQueue(t *testing.T) {
	s, err := open(t, filepath.Join(t.TempDir(), "dust.db"), sqlite.Options{Create: true, BusyTimeout: time.Millisecond})
	require.NoError(t, err)
	var other sync.WaitGroup
	require.NoError(t, s.Import(t.Context(), func(tx sqlite.Appender) error {
		other.Go(func() {
			added, err := s.Append(t.Context(), storetest.Readings("other", start, 10))
			assert.NoError(t, err)
			assert.Equal(t, 10, added)
		})
		_, err := tx.Append(t.Context(), storetest.Readings("bench", start, 10_000))
		return err
	}))
	other.Wait()
	require.Len(t, storetest.All(t, s, dust.Query{}), 10_010)
}
