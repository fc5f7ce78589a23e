package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	driver "modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"dustlog/internal/dust"
)

// Options say how a store is opened. The zero Options open an existing store
// for reading and writing.
type Options struct {
	Create      bool             // make the file and its folder if they are missing
	ReadOnly    bool             // never write, not even a side file if that can be helped
	BusyTimeout time.Duration    // how long to wait for another program's lock; 0: 5 s
	Now         func() time.Time // for events the store adds itself; nil: time.Now
}

// Store is one open file.
type Store struct {
	path    string
	now     func() time.Time
	version int // of the layout
	// write has one connection at most, so that writers queue here and not for
	// the file's lock. It is nil in a read-only store.
	write *sql.DB
	read  *sql.DB

	mu  sync.Mutex
	ids map[string]int64 // committed sensors; they are never removed

	sealing   sync.Mutex
	cleanAge  time.Duration // unfinished files older than this are a crash's
	sliceRows int           // sealed rows deleted at a time
}

// Open opens the store at path. The error wraps dust.ErrNoStore if there is
// none and o.Create is not set, dust.ErrStoreBusy if another program locks it
// for longer than o.BusyTimeout, and dust.ErrNewerSchema if a newer dustlog
// wrote it. A file that is no dustlog store is refused and left as it is.
func Open(ctx context.Context, path string, o Options) (*Store, error) {
	if o.BusyTimeout <= 0 {
		o.BusyTimeout = 5 * time.Second
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("store path: %w", err)
	}
	if err := checkFile(path, o); err != nil {
		return nil, err
	}
	s := &Store{path: path, now: o.Now, ids: map[string]int64{}, cleanAge: time.Minute, sliceRows: 1000}
	if err := s.open(ctx, o); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// checkFile makes sure that there is a file to open, or a folder to make it in.
func checkFile(path string, o Options) error {
	info, err := os.Stat(path)
	create := o.Create && !o.ReadOnly
	switch {
	case err == nil && info.IsDir():
		return fmt.Errorf("store %s is a folder: give the path of a file in it", path)
	case errors.Is(err, fs.ErrNotExist) && !create:
		return noStore(path)
	case errors.Is(err, fs.ErrNotExist):
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return fmt.Errorf("make the store's folder: %w", err)
		}
	case err != nil:
		return fmt.Errorf("open store: %w", err)
	}
	return nil
}

func noStore(path string) error {
	return fmt.Errorf("%w at %s: `dustlog collect` or `dustlog import` makes one; --store names another path", dust.ErrNoStore, path)
}

func (s *Store) open(ctx context.Context, o Options) error {
	mode := "ro"
	if o.Create && !o.ReadOnly {
		mode = "rwc"
	}
	// Look first: opening for writing changes a file, even a stranger's.
	version, err := s.inspect(ctx, dsn(s.path, o, mode))
	if o.ReadOnly && cannotOpen(err) && !hasLog(s.path) {
		// A store in a folder that we may not write to, such as a mounted
		// backup. Nobody is writing it, so it can be read without side files.
		mode = "ro&immutable=1"
		version, err = s.inspect(ctx, dsn(s.path, o, mode))
	}
	if err != nil {
		return err
	}
	if version == 0 && mode != "rwc" { // an empty file, or one whose making was cut short
		return noStore(s.path)
	}
	s.version = len(migrations)
	if o.ReadOnly {
		s.version = version // an older one, which can be read as it is
		s.read, err = sql.Open("sqlite", dsn(s.path, o, mode))
		return err
	}
	s.write, err = sql.Open("sqlite", dsn(s.path, o, "rwc")+"&_txlock=immediate&_pragma=page_size(2048)&_journal_mode=WAL&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)")
	if err != nil {
		return err
	}
	s.write.SetMaxOpenConns(1)
	s.read, err = sql.Open("sqlite", dsn(s.path, o, "rw")+"&_pragma=query_only(1)")
	if err != nil {
		return err
	}
	s.read.SetMaxIdleConns(4)
	return s.migrate(ctx)
}

func dsn(path string, o Options, mode string) string {
	// A path with a drive letter has no slash in front, a URL needs one.
	file := url.URL{Scheme: "file", Path: "/" + strings.TrimPrefix(filepath.ToSlash(path), "/")}
	return fmt.Sprintf("%s?mode=%s&_pragma=busy_timeout(%d)", file.String(), mode, o.BusyTimeout.Milliseconds())
}

// inspect returns the layout version of the file, 0 for an empty one. It fails
// if the file is something else, or newer than this program.
func (s *Store) inspect(ctx context.Context, dsn string) (version int, err error) {
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return 0, err
	}
	defer db.Close()
	var id, objects int
	err = db.QueryRowContext(ctx, `SELECT a.application_id, v.user_version, (SELECT count(*) FROM sqlite_schema)
		FROM pragma_application_id AS a, pragma_user_version AS v`).Scan(&id, &version, &objects)
	switch {
	case err != nil:
		return 0, explain("open store", s.path, err)
	case id != applicationID && (id != 0 || version != 0 || objects != 0):
		return 0, fmt.Errorf("open store in %s: this SQLite file belongs to another program; give another path", s.path)
	case version > len(migrations):
		return 0, fmt.Errorf("%w: %s has layout %d, this program knows up to %d; update dustlog", dust.ErrNewerSchema, s.path, version, len(migrations))
	}
	return version, nil
}

func cannotOpen(err error) bool {
	var e *driver.Error
	if !errors.As(err, &e) {
		return false
	}
	code := e.Code() & 0xff
	return code == lib.SQLITE_CANTOPEN || code == lib.SQLITE_READONLY
}

// hasLog reports whether the file's write-ahead log holds anything.
func hasLog(path string) bool {
	info, err := os.Stat(path + "-wal")
	return err == nil && info.Size() > 0
}

// Path is the absolute path of the file.
func (s *Store) Path() string { return s.path }

// Close closes the file. What was written stays written without it.
func (s *Store) Close() error {
	var errs []error
	for _, db := range []*sql.DB{s.read, s.write} { // the writer last: it tidies up
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}
