package cli

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dustlog/internal/bundle"
	"dustlog/internal/config"
	"dustlog/internal/csvfile"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
)

func newVerify(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "verify FILE",
		Short: "Recompute an evidence bundle and say whether its results hold",
		Long: `Check every file of an evidence bundle against its SHA-256, put its readings and
diary into a fresh store, compute every result again, and say "identical" or list
what differs. On another kind of processor numbers may differ behind the ninth
digit: that is said, and is no difference. Nothing outside the bundle is used but
this program; the bundle is not changed.

Hashes show that a bundle was not changed since it was made. They do not show who
made it, or that the sensors were where the diary says.`,
		Example: "  dustlog report --bundle week.zip\n  dustlog verify week.zip",
		Args:    exactArgs("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runVerify(cmd.Context(), a, args[0])
		},
	}
	a.addJSON(cmd)
	return cmd
}

// verification is what verify found.
type verification struct {
	Schema      int          `json:"schema"`
	File        string       `json:"file"`
	MadeBy      string       `json:"made_by"`
	CheckedBy   string       `json:"checked_by"`
	Files       int          `json:"files"`
	BadFiles    []string     `json:"bad_files"`
	Readings    int          `json:"readings"`
	Identical   bool         `json:"identical"`
	Rounding    int          `json:"differ_behind_9_digits"` // numbers; another kind of processor rounds otherwise
	Differences []difference `json:"differences"`
}

// difference is one value that came out otherwise.
type difference struct {
	Where  string `json:"where"`
	Bundle string `json:"in_bundle"`
	Here   string `json:"computed_here"`

	rounding bool // numbers that agree to 9 digits
}

func runVerify(ctx context.Context, a *app, path string) error {
	b, err := bundle.Open(path)
	if err != nil {
		return err
	}
	defer b.Close()
	v := verification{Schema: 1, File: path, MadeBy: b.Manifest.MadeBy, CheckedBy: "dustlog " + version(), Files: len(b.Manifest.Files),
		BadFiles: b.Check(), Differences: []difference{}}
	if len(v.BadFiles) == 0 {
		if err := v.recompute(ctx, a, b); err != nil {
			return err
		}
	} else {
		v.BadFiles = slices.Clip(v.BadFiles)
	}
	v.Identical = len(v.BadFiles) == 0 && len(v.Differences) == 0 && v.Rounding == 0
	if a.json {
		err = writeJSON(a.Stdout, v)
	} else {
		v.print(a)
	}
	switch {
	case err != nil:
		return err
	case len(v.BadFiles) > 0:
		return fmt.Errorf("%w: %d files", bundle.ErrDamaged, len(v.BadFiles))
	case len(v.Differences) > 0:
		return differs(len(v.Differences))
	}
	return nil
}

func (v *verification) print(a *app) {
	fmt.Fprintf(a.Stdout, "%s, made by %s\n", v.File, v.MadeBy)
	if len(v.BadFiles) > 0 {
		for _, bad := range v.BadFiles {
			fmt.Fprintln(a.Stdout, wrap("changed: "+bad, 98, "  "))
		}
		return
	}
	fmt.Fprintf(a.Stdout, "  %d files as the manifest says\n", v.Files)
	fmt.Fprintf(a.Stdout, "  %d readings taken in again, results computed again by %s\n", v.Readings, v.CheckedBy)
	switch {
	case v.Identical:
		fmt.Fprintln(a.Stdout, "  identical: every number and every word of the results")
		return
	case len(v.Differences) == 0:
		fmt.Fprintf(a.Stdout, "  the same: every word, and every number to 9 digits; %d differ behind that, as on another kind of processor\n", v.Rounding)
		return
	}
	const most = 40
	for i, d := range v.Differences {
		if i == most {
			fmt.Fprintf(a.Stdout, "  and %d more; all with --json\n", len(v.Differences)-most)
			break
		}
		fmt.Fprintf(a.Stdout, "  %s\n    in the bundle: %s\n    computed here: %s\n", d.Where, shorten(d.Bundle), shorten(d.Here))
	}
}

func shorten(s string) string {
	if r := []rune(s); len(r) > 200 {
		return string(r[:200]) + " …"
	}
	return s
}

// recompute builds a store from the bundle, in a folder that is removed again.
func (v *verification) recompute(ctx context.Context, a *app, b *bundle.Bundle) error {
	var settings evidenceSettings
	if err := b.ReadJSON(bundleSettings, &settings); err != nil {
		return err
	}
	if settings.Schema != 2 {
		return fmt.Errorf("%s: %s is of layout %d, this program reads layout 2: verify it with the version that made it, %s", v.File, bundleSettings, settings.Schema, v.MadeBy)
	}
	folder, err := os.MkdirTemp("", "dustlog-verify-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	path := filepath.Join(folder, "evidence.db")
	if v.Readings, err = unpack(ctx, a, b, path); err != nil {
		return err
	}
	settings.Given["store"] = path
	tables := filepath.Join(folder, bundleConfig)
	err = b.Read(bundleConfig, func(r io.Reader) error {
		text, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		return os.WriteFile(tables, text, 0o600)
	})
	if err != nil {
		return err
	}
	cfg, err := config.Load(config.Sources{Path: tables, Flags: settings.Given, Store: path})
	if err != nil {
		return fmt.Errorf("%s and %s: %w", bundleSettings, bundleConfig, err)
	}
	s, records, err := a.openRecalling(ctx, cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	in, err := gather(ctx, a, cfg, s, records, reportOptions{before: settings.Before, after: settings.After}, study.Window{From: settings.From, To: settings.To})
	if err != nil {
		return err
	}
	var was, is any
	if err := b.ReadJSON(bundleResults, &was); err != nil {
		return err
	}
	text, err := json.Marshal(resultsOf(in))
	if err != nil {
		return err
	}
	if err := json.Unmarshal(text, &is); err != nil {
		return err
	}
	for _, d := range compareJSON("", was, onlyKept(was, is)) {
		if d.rounding {
			v.Rounding++
		} else {
			v.Differences = append(v.Differences, d)
		}
	}
	return nil
}

// unpack puts readings and diary into a new store and counts the readings.
func unpack(ctx context.Context, a *app, b *bundle.Bundle, path string) (n int, err error) {
	var diary evidenceDiary
	if err := b.ReadJSON(bundleDiary, &diary); err != nil {
		return 0, err
	}
	store, err := sqlite.Open(ctx, path, sqlite.Options{Create: true})
	if err != nil {
		return 0, err
	}
	defer store.Close()
	if err := enterDiary(ctx, store, diary); err != nil {
		return 0, fmt.Errorf("%s: %w", bundleDiary, err)
	}
	files := b.Entries(bundleReadings)
	bar := a.progress(len(files)+5, "readings")
	defer bar.done()
	for _, f := range files {
		bar.step(f.Name)
		count := importCount{sensors: map[string]bool{}, known: diary.Sensors}
		err := b.Read(f.Name, func(r io.Reader) error {
			return store.Import(ctx, func(tx sqlite.Appender) error {
				if err := count.take(ctx, tx, csvfile.Read(r, f.Name, csvfile.Options{})); err != nil && count.read > 0 {
					return err
				}
				return nil
			})
		})
		if err != nil {
			return n, err
		}
		n += count.read
	}
	return n, nil
}

func enterDiary(ctx context.Context, store *sqlite.Store, d evidenceDiary) error {
	for _, s := range d.Sensors {
		if err := store.PutSensor(ctx, s); err != nil {
			return err
		}
	}
	for _, s := range d.Setups {
		if err := store.PutSetup(ctx, s); err != nil {
			return err
		}
	}
	for _, p := range d.Periods {
		if err := store.UseSetup(ctx, p.Setup, "", p.From); err != nil {
			return err
		}
	}
	for _, t := range d.Tasks {
		add := store.AddTask
		if t.Running() {
			add = store.StartTask
		}
		if _, err := add(ctx, t); err != nil {
			return err
		}
	}
	for _, c := range d.Calibrations {
		if err := enterCalibration(ctx, store, c); err != nil {
			return err
		}
	}
	for _, q := range d.LineQuality {
		if err := store.AddLineQuality(ctx, q); err != nil {
			return err
		}
	}
	for _, e := range d.Events {
		if err := store.AddEvent(ctx, e); err != nil {
			return err
		}
	}
	for _, e := range d.Entries {
		if err := enterEntry(ctx, store, e); err != nil {
			return err
		}
	}
	return nil
}

func enterEntry(ctx context.Context, store *sqlite.Store, e evidenceEntry) error {
	if e.Kind != dust.NoteEntry && e.Kind != dust.GaugeEntry {
		return fmt.Errorf("entry %q is of kind %q: only remarks and readings off the dust collector are in a bundle", e.ID, e.Kind)
	}
	_, err := store.Enter(ctx, dust.Entry{ID: e.ID, Kind: e.Kind, At: e.At, Name: e.Name, Text: e.Text})
	if err == nil && !e.Undone.IsZero() {
		_, err = store.Enter(ctx, dust.Entry{ID: rand.Text(), Kind: dust.UndoEntry, At: e.Undone, Undoes: e.ID})
	}
	return err
}

// enterCalibration keeps the number of a calibration, which results name.
func enterCalibration(ctx context.Context, store *sqlite.Store, c dust.Calibration) error {
	added, err := store.AddCalibration(ctx, c)
	if err != nil {
		return err
	}
	if added.ID != c.ID {
		return fmt.Errorf("calibration %d has the number %d here: the bundle does not hold all calibrations", c.ID, added.ID)
	}
	if !c.InUse() {
		_, err = store.RetireCalibration(ctx, c.ID, c.RetiredWhy, c.Retired)
	}
	return err
}

// onlyKept leaves out of what was computed here the results that bundles of older
// versions do not hold.
func onlyKept(was, is any) any {
	held, ok := was.(map[string]any)
	now, ok2 := is.(map[string]any)
	if !ok || !ok2 {
		return is
	}
	for _, key := range []string{"clearance", "respirator"} {
		if _, has := held[key]; !has {
			delete(now, key)
		}
	}
	return now
}

// alikeNumbers reports whether two numbers agree to 9 digits. The last bits of a sum
// depend on whether a processor rounds between multiplying and adding, as the Go
// specification allows (Floating-point operators).
func alikeNumbers(was, is any) bool {
	a, ok1 := was.(float64)
	b, ok2 := is.(float64)
	return ok1 && ok2 && math.Abs(a-b) <= 1e-9*max(math.Abs(a), math.Abs(b))
}

// compareJSON lists where two JSON documents differ.
func compareJSON(where string, was, is any) (all []difference) {
	switch was := was.(type) {
	case map[string]any:
		if is, ok := is.(map[string]any); ok {
			keys := slices.Sorted(maps.Keys(was))
			for k := range is {
				if _, known := was[k]; !known {
					keys = append(keys, k)
				}
			}
			for _, k := range keys {
				all = append(all, compareJSON(strings.TrimPrefix(where+"."+k, "."), was[k], is[k])...)
			}
			return all
		}
	case []any:
		if is, ok := is.([]any); ok && len(was) == len(is) {
			for i := range was {
				all = append(all, compareJSON(fmt.Sprintf("%s[%d]", where, i), was[i], is[i])...)
			}
			return all
		}
	}
	if reflect.DeepEqual(was, is) {
		return nil
	}
	text := func(v any) string { b, _ := json.Marshal(v); return string(b) }
	return []difference{{Where: where, Bundle: text(was), Here: text(is), rounding: alikeNumbers(was, is)}}
}
