package sqlite_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

func open(t *testing.T, path string, o sqlite.Options) (*sqlite.Store, error) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, o)
	if err == nil {
		t.Cleanup(func() { require.NoError(t, s.Close()) })
	}
	return s, err
}

// filled makes a store with some readings and closes it.
func filled(t *testing.T, n int) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "dust.db")
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
	require.NoError(t, err)
	_, err = s.Append(t.Context(), storetest.Readings("bench", start, n))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return path
}

func TestOpenMissing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sub", "dust.db")
	for _, o := range []sqlite.Options{{}, {ReadOnly: true}, {ReadOnly: true, Create: true}} {
		_, err := open(t, path, o)
		require.ErrorIs(t, err, dust.ErrNoStore)
		require.ErrorContains(t, err, path)
	}
	require.NoDirExists(t, filepath.Dir(path), "looking for a store must not make one")

	empty := filepath.Join(t.TempDir(), "empty.db")
	require.NoError(t, os.WriteFile(empty, nil, 0o600))
	_, err := open(t, empty, sqlite.Options{})
	require.ErrorIs(t, err, dust.ErrNoStore)
	_, err = open(t, empty, sqlite.Options{Create: true})
	require.NoError(t, err)
	_, err = open(t, filepath.Dir(empty), sqlite.Options{Create: true})
	require.ErrorContains(t, err, "is a folder")
}

func TestCreatedFile(t *testing.T) {
	path := filled(t, 1)
	db := rawDB(t, path)
	for pragma, want := range map[string]string{
		"application_id": "1146442580", // "DUST" as a big-endian number
		"user_version":   "6",
		"journal_mode":   "wal",
		"page_size":      "2048",
	} {
		var got string
		require.NoError(t, db.QueryRow("PRAGMA "+pragma).Scan(&got))
		require.Equal(t, want, got, pragma)
	}
}

// TestColumns compares the layout with the domain: the key and the flags, then
// one column per channel, by key.
func TestColumns(t *testing.T) {
	rows, err := rawDB(t, filled(t, 1)).Query(`SELECT name, type, "notnull", pk FROM pragma_table_info('unsealed') ORDER BY cid`)
	require.NoError(t, err)
	defer rows.Close()
	type column struct {
		Name, Type  string
		NotNull, PK int
	}
	want := []column{{"key", "INTEGER", 0, 1}, {"flags", "INTEGER", 1, 0}}
	for c := range dust.ChannelCount {
		want = append(want, column{c.Key(), "ANY", 0, 0})
	}
	var got []column
	for rows.Next() {
		var c column
		require.NoError(t, rows.Scan(&c.Name, &c.Type, &c.NotNull, &c.PK))
		got = append(got, c)
	}
	require.NoError(t, rows.Err())
	require.Equal(t, want, got, "a new channel needs a new migration")
}

func TestNewerLayout(t *testing.T) {
	path := filled(t, 1)
	_, err := rawDB(t, path).Exec("PRAGMA user_version = 1000")
	require.NoError(t, err)
	for _, o := range []sqlite.Options{{}, {Create: true}, {ReadOnly: true}} {
		_, err := open(t, path, o)
		require.ErrorIs(t, err, dust.ErrNewerSchema)
		require.ErrorContains(t, err, path)
	}
}

func TestStrangersFiles(t *testing.T) {
	dir := t.TempDir()
	garbage := filepath.Join(dir, "notes.txt")
	require.NoError(t, os.WriteFile(garbage, []byte("to do: buy filter bags, sandpaper and glue before Friday\n"), 0o600))
	other := filepath.Join(dir, "other.db")
	_, err := rawDB(t, other).Exec("CREATE TABLE recipe (name TEXT)")
	require.NoError(t, err)
	for path, want := range map[string]string{garbage: "not a dustlog store", other: "belongs to another program"} {
		before, err := os.ReadFile(path)
		require.NoError(t, err)
		for _, o := range []sqlite.Options{{}, {Create: true}, {ReadOnly: true}} {
			_, err := open(t, path, o)
			require.ErrorContains(t, err, want)
			require.ErrorContains(t, err, path)
		}
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, before, after, "a stranger's file must stay as it was")
	}
}

func TestDamagedFile(t *testing.T) {
	path := filled(t, 5000)
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	for i := 3 * 4096; i < len(content); i++ { // all pages but the first three
		content[i] = 0xA5
	}
	require.NoError(t, os.WriteFile(path, content, 0o600))
	s, err := open(t, path, sqlite.Options{})
	if err == nil {
		for _, err = range s.Readings(t.Context(), dust.Query{}) {
			if err != nil {
				break
			}
		}
	}
	require.ErrorContains(t, err, "the file is damaged")
}

func TestReadOnly(t *testing.T) {
	path := filled(t, 10)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	s, err := open(t, path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	require.Len(t, storetest.All(t, s, dust.Query{}), 10)
	_, err = s.Append(t.Context(), storetest.Readings("bench", start.Add(time.Hour), 1))
	require.ErrorContains(t, err, "reading only")
	require.ErrorContains(t, s.PutSetup(t.Context(), dust.Setup{Name: "x"}), "reading only")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

func TestBusy(t *testing.T) {
	path := filled(t, 10)
	s, err := open(t, path, sqlite.Options{BusyTimeout: time.Millisecond})
	require.NoError(t, err)
	holder := rawDB(t, path)
	_, err = holder.Exec("BEGIN IMMEDIATE")
	require.NoError(t, err)
	_, err = s.Append(t.Context(), storetest.Readings("bench", start.Add(time.Hour), 1))
	require.ErrorIs(t, err, dust.ErrStoreBusy)
	require.ErrorContains(t, err, path)
	require.Len(t, storetest.All(t, s, dust.Query{}), 10, "a writer must not keep readers out")
	_, err = holder.Exec("ROLLBACK")
	require.NoError(t, err)
	added, err := s.Append(t.Context(), storetest.Readings("bench", start.Add(time.Hour), 1))
	require.NoError(t, err)
	require.Equal(t, 1, added)
}

func TestOpenBusy(t *testing.T) {
	path := filled(t, 10)
	holder := rawDB(t, path)
	_, err := holder.Exec("PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE")
	require.NoError(t, err)
	for _, o := range []sqlite.Options{{}, {ReadOnly: true}, {Create: true}} {
		o.BusyTimeout = time.Millisecond
		_, err = open(t, path, o)
		require.ErrorIs(t, err, dust.ErrStoreBusy)
	}
	_, err = holder.Exec("ROLLBACK")
	require.NoError(t, err)
}

func TestReadWhileWriting(t *testing.T) {
	s := tempStore(t)
	_, err := s.Append(t.Context(), storetest.Readings("bench", start, 100))
	require.NoError(t, err)
	other, err := open(t, s.Path(), sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	for i, reader := range []*sqlite.Store{s, other} {
		n := 0
		for _, err := range reader.Readings(t.Context(), dust.Query{}) {
			require.NoError(t, err)
			if n == 50 {
				_, err := s.Append(t.Context(), storetest.Readings("bench", start.Add(time.Duration(i+1)*time.Hour), 50))
				require.NoError(t, err, "a reader must not keep the writer out")
			}
			n++
		}
		require.Equal(t, 100+50*i, n, "a reader sees the store as it was when it began")
	}
	require.Len(t, storetest.All(t, other, dust.Query{}), 200)
	require.NoError(t, other.Close())
}

func TestImport(t *testing.T) {
	s := tempStore(t)
	broken := errors.New("line 17 is broken")
	fill := func(tx sqlite.Appender) error {
		if err := tx.PutSensor(t.Context(), dust.Sensor{Name: "new", Model: "m", Position: dust.Room}); err != nil {
			return err
		}
		for i := range 3 {
			added, err := tx.Append(t.Context(), storetest.Readings("new", start.Add(time.Duration(i)*time.Hour), 1000))
			if err != nil || added != 1000 {
				return errors.Join(err, errors.New("not all were added"))
			}
		}
		if _, err := tx.AddTask(t.Context(), task("sanding", "", 1, 2)); err != nil {
			return err
		}
		return tx.AddEvent(t.Context(), dust.Event{Time: start, Kind: "import", Text: "week.csv"})
	}
	err := s.Import(t.Context(), func(tx sqlite.Appender) error { return errors.Join(fill(tx), broken) })
	require.ErrorIs(t, err, broken)
	requireEmpty(t, s)

	ctx, cancel := context.WithCancel(t.Context())
	err = s.Import(ctx, func(tx sqlite.Appender) error { err := fill(tx); cancel(); return err })
	require.ErrorIs(t, err, context.Canceled)
	requireEmpty(t, s)

	require.NoError(t, s.Import(t.Context(), fill))
	require.Len(t, storetest.All(t, s, dust.Query{}), 3000)
	added, err := s.Append(t.Context(), storetest.Readings("new", start, 1000))
	require.NoError(t, err)
	require.Zero(t, added)
}

// requireEmpty checks that nothing at all is in the store, and that it still
// takes readings of a sensor whose first attempt failed.
func requireEmpty(t *testing.T, s *sqlite.Store) {
	t.Helper()
	require.Empty(t, storetest.All(t, s, dust.Query{}))
	sensors, err := s.Sensors(t.Context())
	require.NoError(t, err)
	require.Empty(t, sensors)
	tasks, err := s.Tasks(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Empty(t, tasks)
	events, err := s.Events(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Empty(t, events)
}
