package sqlite

import (
	"context"
	"errors"
	"fmt"

	driver "modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"dustlog/internal/dust"
)

// explain turns an error of the database into one that says what was tried, in
// which file, and what can be done about it.
func explain(doing, path string, err error) error {
	if err == nil {
		return nil
	}
	var e *driver.Error
	if !errors.As(err, &e) {
		return fmt.Errorf("%s in %s: %w", doing, path, err)
	}
	switch e.Code() & 0xff {
	case lib.SQLITE_BUSY, lib.SQLITE_LOCKED:
		return fmt.Errorf("%s in %s: %w: another program holds it; try again when that one is done", doing, path, dust.ErrStoreBusy)
	case lib.SQLITE_NOTADB:
		return fmt.Errorf("%s in %s: this file is not a dustlog store; give another path or move it away: %w", doing, path, err)
	case lib.SQLITE_CORRUPT:
		return fmt.Errorf("%s in %s: the file is damaged; copy it away before anything else, then restore a backup: %w", doing, path, err)
	case lib.SQLITE_READONLY, lib.SQLITE_PERM:
		return fmt.Errorf("%s in %s: the file or its folder cannot be written; check who owns it: %w", doing, path, err)
	case lib.SQLITE_CANTOPEN:
		return fmt.Errorf("%s in %s: the file cannot be opened; check that you may read it and its folder: %w", doing, path, err)
	case lib.SQLITE_FULL:
		return fmt.Errorf("%s in %s: the disk is full: %w", doing, path, err)
	case lib.SQLITE_INTERRUPT:
		return fmt.Errorf("%s in %s: %w: %w", doing, path, context.Canceled, err)
	}
	return fmt.Errorf("%s in %s: %w", doing, path, err)
}

// isConflict reports that a row is there already.
func isConflict(err error) bool {
	var e *driver.Error
	return errors.As(err, &e) && e.Code() == lib.SQLITE_CONSTRAINT_PRIMARYKEY
}
