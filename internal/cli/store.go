package cli

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/store/sqlite"
)

func newStore(a *app) *cobra.Command {
	return group("store", "Look after the store: seal finished days, check it, drop old readings",
		newStoreSeal(a), newStoreCheck(a), newStorePrune(a))
}

func newStoreSeal(a *app) *cobra.Command {
	keep := "2d" // late readings and clock corrections then need no rewrite
	cmd := &cobra.Command{
		Use:   "seal",
		Short: "Move the readings of finished days into one small file per sensor and day",
		Long: `Move the readings of finished UTC days into one Parquet file per sensor and day,
beside the store. They are read as before, only faster. dustlog collect does it
by itself once an hour; it can be stopped and repeated at any time.`,
		Example: `  dustlog store seal
  dustlog store seal --keep 0d    # everything up to yesterday`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			age, err := parseAge(keep)
			if err != nil {
				return usage(cmd, fmt.Errorf("--keep: %w", err))
			}
			return a.withStore(cmd, func(s *sqlite.Store) error { return a.seal(cmd, s, age) })
		},
	}
	cmd.Flags().StringVar(&keep, "keep", keep, "leave days unsealed that ended less than this ago, in days (d) or weeks (w)")
	a.addJSON(cmd)
	return cmd
}

func (a *app) seal(cmd *cobra.Command, s *sqlite.Store, keep time.Duration) error {
	report, err := s.Seal(cmd.Context(), a.Now().Add(-keep))
	if err != nil {
		return err
	}
	problems := report.Problems
	if problems == nil {
		problems = []string{}
	}
	if a.json {
		err = writeJSON(a.Stdout, map[string]any{"schema": 1, "files": report.Days, "readings": report.Readings,
			"rewritten": report.Late, "doubles": report.Doubles, "bytes": report.Bytes, "problems": problems})
	} else {
		_, err = fmt.Fprintf(a.Stdout, "%d readings sealed into %d files, %d of them rewritten with late readings\n", report.Readings, report.Days, report.Late)
	}
	if err == nil && len(problems) > 0 {
		return fmt.Errorf("%d days were not sealed; their readings stay in the store: %s", len(problems), strings.Join(problems, "; "))
	}
	return err
}

func newStoreCheck(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Prove that every reading is there and readable",
		Long: `Run SQLite's own checks, read every sealed file and compare its hash with the
list, count readings, and list the gaps of each sensor and day. Gaps are no
damage. Exit code 0: all is there. 1: damaged; the output says what is, and all
other readings can still be read. Nothing is changed.`,
		Example: `  dustlog store check
  dustlog store check --json | jq '.days[] | select(.gaps > 0)'`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := a.load(nil)
			if err != nil {
				return err
			}
			s, err := a.readable(cmd.Context(), cfg)
			if err != nil {
				return err
			}
			defer s.Close()
			report, err := s.Check(cmd.Context())
			if err != nil {
				return err
			}
			return a.checked(report)
		},
	}
	a.addJSON(cmd)
	return cmd
}

// checked prints a check's report; damage is an error.
func (a *app) checked(report sqlite.CheckReport) error {
	if a.json {
		if err := writeJSON(a.Stdout, report); err != nil {
			return err
		}
	} else {
		printCheck(a, report)
	}
	if !report.Clean {
		return fmt.Errorf("the store is damaged (%d findings); readings not named there can be read; "+
			"copy %s and %s.days away before anything else, then `dustlog restore` a backup", len(report.Problems), report.Store, report.Store)
	}
	return nil
}

func printCheck(a *app, report sqlite.CheckReport) {
	t := newTable(a.Stdout, "SENSOR", "READINGS", "FROM, UTC", "TO, UTC", "SEALED DAYS", "SEALED MB", "GAPS", "GAPS h", "UNREADABLE")
	for _, s := range report.Sensors {
		t.row(s.Sensor, s.Readings, s.First.Format(time.DateTime), s.Last.Format(time.DateTime), s.SealedDays,
			fmt.Sprintf("%.1f", float64(s.SealedBytes)/1e6), s.Gaps, fmt.Sprintf("%.1f", s.GapSeconds/3600), s.Unreadable)
	}
	t.flush()
	for _, f := range report.Problems {
		fmt.Fprintf(a.Stdout, "damaged: %s\n", finding(f))
	}
	for _, f := range report.Remarks {
		fmt.Fprintf(a.Stdout, "note: %s\n", finding(f))
	}
	if report.Clean {
		fmt.Fprintln(a.Stdout, "every reading is there and readable")
	}
}

func finding(f sqlite.CheckFinding) string {
	where := strings.TrimSpace(f.Sensor + " " + f.Day)
	if f.File != "" && !strings.Contains(f.Text, f.File) {
		where = strings.TrimSpace(where + " " + f.File)
	}
	if where == "" {
		return f.Text
	}
	return where + ": " + f.Text
}

func newStorePrune(a *app) *cobra.Command {
	var older string
	var o sqlite.PruneOptions
	cmd := &cobra.Command{
		Use:   "prune --older-than AGE",
		Short: "Drop the readings of old days for good",
		Long: `Drop the readings of UTC days that ended longer ago than AGE. Tasks, setups and
events stay. Days that a saved report speaks of or that a calibration in use was
made from are spared, unless --force: they could not be worked out again.`,
		Example: `  dustlog store prune --older-than 400d --dry-run
  dustlog store prune --older-than 400d`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if older == "" {
				return usage(cmd, errors.New("say how old the readings must be, as in --older-than 400d"))
			}
			age, err := parseAge(older)
			if err != nil {
				return usage(cmd, fmt.Errorf("--older-than: %w", err))
			}
			return a.withStore(cmd, func(s *sqlite.Store) error { return a.prune(cmd, s, age, o) })
		},
	}
	f := cmd.Flags()
	f.StringVar(&older, "older-than", "", "age in days (d) or weeks (w), as in 400d")
	f.BoolVar(&o.DryRun, "dry-run", false, "only say what would be dropped")
	f.BoolVar(&o.Force, "force", false, "also days that a saved report or a calibration rests on")
	a.addJSON(cmd)
	return cmd
}

func (a *app) prune(cmd *cobra.Command, s *sqlite.Store, age time.Duration, o sqlite.PruneOptions) error {
	report, err := s.Prune(cmd.Context(), a.Now().Add(-age), o)
	if err != nil {
		return err
	}
	if a.json {
		return writeJSON(a.Stdout, report)
	}
	verb := "dropped"
	if o.DryRun {
		verb = "would be dropped"
	}
	fmt.Fprintf(a.Stdout, "%d readings of %d days %s, %.1f MB of sealed files\n", report.Readings, report.Days, verb, float64(report.Bytes)/1e6)
	for _, spared := range report.Spared {
		forWhat := "the report " + spared.Report
		if spared.Calibration != 0 {
			forWhat = fmt.Sprintf("calibration %d", spared.Calibration)
		}
		fmt.Fprintf(a.Stdout, "%d days are kept for %s\n", spared.Days, forWhat)
	}
	return nil
}

// withStore runs f on a store that must exist, open for writing.
func (a *app) withStore(cmd *cobra.Command, f func(s *sqlite.Store) error) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	s, err := sqlite.Open(cmd.Context(), cfg.Store, sqlite.Options{})
	if err != nil {
		return err
	}
	return errors.Join(f(s), s.Close())
}

// parseAge reads an age in days or weeks.
func parseAge(text string) (time.Duration, error) {
	days := 1.0
	number, ok := strings.CutSuffix(text, "d")
	if !ok {
		days = 7
		number, ok = strings.CutSuffix(text, "w")
	}
	n, err := strconv.ParseFloat(number, 64)
	// A hundred years is within what a duration holds.
	if !ok || err != nil || math.IsNaN(n) || n < 0 || n*days > 36500 {
		return 0, fmt.Errorf("%q is not an age: write days or weeks, as in 400d or 52w", text)
	}
	return time.Duration(n * days * 24 * float64(time.Hour)), nil
}
