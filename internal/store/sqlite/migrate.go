package sqlite

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strings"

	"dustlog/internal/dust"
)

// applicationID marks the file as a dustlog store ("DUST").
const applicationID = 0x44555354

// sealedSince is the layout from which on there are sealed days.
const sealedSince = 2

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migrations are the scripts in order. The store's user_version counts how many
// of them it has seen. A script that was released is never changed again.
var migrations = loadMigrations()

func loadMigrations() []string {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql") // sorted
	if err != nil {
		panic(err) // the pattern is a constant
	}
	var scripts []string
	for i, name := range names {
		if !strings.HasPrefix(path.Base(name), fmt.Sprintf("%04d_", i+1)) {
			panic("migrations have a hole before " + name)
		}
		text, err := migrationFiles.ReadFile(name)
		if err != nil {
			panic(err) // the file is compiled in
		}
		scripts = append(scripts, string(text))
	}
	return scripts
}

// migrate brings the file to the newest layout in one transaction.
func (s *Store) migrate(ctx context.Context) error {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return explain("open store", s.path, err)
	}
	defer tx.Rollback() //nolint:errcheck // after Commit this does nothing
	// Asked again inside the transaction: another program may have been faster.
	var version int
	if err := tx.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return explain("open store", s.path, err)
	}
	if version == len(migrations) {
		return nil
	}
	if version > len(migrations) {
		return fmt.Errorf("%w: %s", dust.ErrNewerSchema, s.path)
	}
	for i, script := range migrations[version:] {
		if _, err := tx.ExecContext(ctx, script); err != nil {
			return explain(fmt.Sprintf("change layout to %d", version+i+1), s.path, err)
		}
	}
	if err := noteAgain(ctx, tx); err != nil {
		return explain("change layout", s.path, err)
	}
	pragmas := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, len(migrations))
	if _, err := tx.ExecContext(ctx, pragmas); err != nil {
		return explain("mark layout", s.path, err)
	}
	return explain("change layout", s.path, tx.Commit())
}
