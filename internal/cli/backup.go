package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

func newBackup(a *app) *cobra.Command {
	var o sqlite.BackupOptions
	cmd := &cobra.Command{
		Use:   "backup FILE.db|FOLDER",
		Short: "Copy the store, also while readings are collected",
		Long: `Copy the store as it is at one moment, sealed days included, and prove every
copied file. Nothing is overwritten. With a folder the copy keeps the store's
name; with a file name ending in .db it gets that one, and the sealed days go to
the folder FILE.db.days. The .db file appears last: a copy without it is not whole.`,
		Example: `  dustlog backup /media/stick/2026-03-02
  dustlog backup weekly.db`,
		Args: exactArgs("FILE.db|FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			cfg, err := a.load(nil)
			if err != nil {
				return err
			}
			to := args[0]
			if filepath.Ext(to) != ".db" {
				to = filepath.Join(to, filepath.Base(cfg.Store))
			}
			s, err := a.readable(cmd.Context(), cfg)
			if err != nil {
				return err
			}
			defer s.Close()
			report, err := s.Backup(cmd.Context(), to, o)
			if err != nil {
				return err
			}
			return a.copied("copied to", report)
		},
	}
	cmd.Flags().BoolVar(&o.Partial, "partial", false, "leave out sealed files that are damaged or missing")
	a.addJSON(cmd)
	return cmd
}

func (a *app) copied(verb string, report sqlite.BackupReport) error {
	if a.json {
		if err := writeJSON(a.Stdout, report); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(a.Stdout, "%s %s: %.1f MB, %d sealed files, all proven\n", verb, report.Path, float64(report.Bytes)/1e6, report.Files)
	}
	if n := len(report.Missing); n > 0 {
		return fmt.Errorf("%w: %d sealed files were left out: %s", errIncomplete, n, strings.Join(report.Missing, "; "))
	}
	return nil
}

func newRestore(a *app) *cobra.Command {
	var o sqlite.BackupOptions
	cmd := &cobra.Command{
		Use:   "restore FILE.db|FOLDER",
		Short: "Make a store from a backup",
		Long: `Check a backup as dustlog store check does and copy it to where the store is to
be (see --store). A store that is there already is never overwritten: move it
away, and the folder with .days at its end too.`,
		Example: `  dustlog restore /media/stick/2026-03-02
  dustlog restore weekly.db --store try.db`,
		Args: exactArgs("FILE.db|FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.restore(cmd, args[0], o) },
	}
	cmd.Flags().BoolVar(&o.Partial, "partial", false, "restore what can be read of a damaged backup")
	a.addJSON(cmd)
	return cmd
}

func (a *app) restore(cmd *cobra.Command, from string, o sqlite.BackupOptions) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	from, err = backupFile(from)
	if err != nil {
		return err
	}
	s, err := sqlite.Open(cmd.Context(), from, sqlite.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	report, err := s.Check(cmd.Context())
	if err != nil {
		return err
	}
	if !report.Clean && !o.Partial {
		return fmt.Errorf("the backup %s is damaged or was not copied whole (%s); take another one, or restore what can be read with --partial",
			from, finding(report.Problems[0]))
	}
	copied, err := s.Backup(cmd.Context(), cfg.Store, o)
	if err != nil {
		return err
	}
	return a.copied("restored to", copied)
}

// backupFile finds the SQLite file of a backup.
func backupFile(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", fmt.Errorf("%w: backup: %w", dust.ErrNoStore, err)
	}
	if !info.IsDir() {
		return path, nil
	}
	entries, err := os.ReadDir(path)
	var found []string
	for _, e := range entries {
		if filepath.Ext(e.Name()) == ".db" {
			found = append(found, filepath.Join(path, e.Name()))
		}
	}
	switch {
	case err != nil:
		return "", err
	case len(found) == 0:
		return "", fmt.Errorf("%w: %s has no .db file, so it is no whole backup", dust.ErrNoStore, path)
	case len(found) > 1:
		return "", errors.New(path + " has several .db files: name the one to restore")
	}
	return found[0], nil
}
