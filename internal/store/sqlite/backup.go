package sqlite

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"dustlog/internal/store/sealed"
)

// BackupReport says what a backup holds.
type BackupReport struct {
	Schema int    `json:"schema"` // 1
	Path   string `json:"path"`   // of the copy
	Files  int    `json:"files"`  // sealed days
	Bytes  int64  `json:"bytes"`  // of everything
	// Missing are the sealed files that could not be copied, with the reason.
	Missing []string `json:"missing"`
}

// BackupOptions say how Backup works.
type BackupOptions struct {
	// Partial leaves out sealed files that are damaged or missing instead of
	// failing.
	Partial bool
}

// Backup copies the store to a new file at path, and its sealed days to the
// folder beside it. The copy is of one moment even if readings are collected
// meanwhile; every sealed file is proven by its hash. Nothing is overwritten.
// The file at path appears last: without it, a backup is not complete.
func (s *Store) Backup(ctx context.Context, path string, o BackupOptions) (BackupReport, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return BackupReport{}, fmt.Errorf("backup: %w", err)
	}
	for _, there := range []string{path, path + ".days", path + "-wal"} {
		if _, err := os.Lstat(there); !errors.Is(err, fs.ErrNotExist) {
			return BackupReport{}, fmt.Errorf("backup to %s: %s is there already and is not overwritten: give another path", path, there)
		}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return BackupReport{}, fmt.Errorf("backup: %w", err)
	}
	s.sealing.Lock()
	defer s.sealing.Unlock()
	for attempt := 0; ; attempt++ {
		const last = 3
		report, err := s.backup(ctx, path, o.Partial && attempt == last)
		// Another program may seal a day anew, or prune it, between the copy of the
		// list and that of its file.
		if err != nil && attempt < last && errors.Is(err, errMoved) {
			continue
		}
		if err != nil {
			return report, fmt.Errorf("backup of %s to %s: %w", s.path, path, err)
		}
		return report, nil
	}
}

// errMoved says that a sealed file is not the listed one.
var errMoved = errors.New("the file is not the one that is listed; `dustlog store check` tells more")

func (s *Store) backup(ctx context.Context, path string, partial bool) (report BackupReport, err error) {
	temp := path + ".unfinished"
	days := path + ".days"
	_ = os.Remove(temp) // of an earlier attempt
	defer func() {
		if err != nil {
			_ = os.Remove(temp)
			_ = os.RemoveAll(days)
		}
	}()
	if err := s.copyDatabase(ctx, temp); err != nil {
		return report, err
	}
	list, err := listOf(ctx, temp)
	if err != nil {
		return report, err
	}
	report = BackupReport{Schema: 1, Path: path, Missing: []string{}}
	for i := range list {
		if err := ctx.Err(); err != nil {
			return report, err
		}
		d := &list[i]
		to := filepath.Join(days, filepath.FromSlash(d.file))
		if err := copyProven(s.sealedPath(d.file), to, d); err != nil {
			err = fmt.Errorf("%s of %q, %s: %w", d.Day, d.Sensor, s.sealedPath(d.file), err)
			if !partial || !errors.Is(err, errMoved) {
				return report, err
			}
			_ = os.Remove(to)
			report.Missing = append(report.Missing, err.Error())
			continue
		}
		report.Files++
		report.Bytes += d.Bytes
	}
	info, err := os.Stat(temp)
	if err != nil {
		return report, err
	}
	report.Bytes += info.Size()
	if err := os.Rename(temp, path); err != nil {
		return report, err
	}
	return report, sealed.SyncFolder(filepath.Dir(path))
}

// copyDatabase writes the SQLite file as of one moment.
func (s *Store) copyDatabase(ctx context.Context, path string) error {
	conn, err := s.read.Conn(ctx)
	if err != nil {
		return explain("copy", s.path, err)
	}
	defer conn.Close()
	// It writes nothing but the copy, yet counts as writing.
	_, err = conn.ExecContext(ctx, "PRAGMA query_only = 0")
	if err == nil {
		_, err = conn.ExecContext(ctx, "VACUUM INTO ?", path)
	}
	if s.write != nil {
		_, again := conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA query_only = 1")
		err = errors.Join(err, again)
	}
	if err != nil {
		return explain("copy", s.path, err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// listOf reads the list of sealed days of a copy.
func listOf(ctx context.Context, path string) (list []listed, err error) {
	db, err := sql.Open("sqlite", dsn(path, Options{}, "ro&immutable=1"))
	if err != nil {
		return nil, err
	}
	defer db.Close()
	var version int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return nil, err
	}
	if version < sealedSince {
		return nil, nil
	}
	return listDays(ctx, db, version, "true")
}

// copyProven copies a sealed file and proves the copy by the listed hash.
func copyProven(from, to string, d *listed) error {
	in, err := os.Open(from)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%w: %w", errMoved, err)
	}
	if err != nil {
		return err
	}
	defer in.Close()
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	h := sha256.New()
	_, err = io.Copy(io.MultiWriter(out, h), in)
	if err == nil {
		err = out.Sync()
	}
	if err = errors.Join(err, out.Close()); err != nil {
		return err
	}
	sum := hex.EncodeToString(h.Sum(nil))
	if sum != d.SHA256 && (d.next == "" || sum != d.next) {
		return errMoved
	}
	if back, _, err := sealed.Hash(to); err != nil || back != sum {
		return fmt.Errorf("the copy %s reads back different: %w", to, errors.Join(err, sealed.ErrDamaged))
	}
	return sealed.SyncFolder(filepath.Dir(to))
}
