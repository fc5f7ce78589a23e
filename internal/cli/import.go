package cli

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/csvfile"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/store/sqlite"
)

type importOptions struct {
	sensor, model, position string
	start                   string
	move                    bool
	columns                 []string
	ignore                  []string
}

func newImport(a *app) *cobra.Command {
	var o importOptions
	cmd := &cobra.Command{
		Use:   "import FILE.csv",
		Short: "Take readings from a CSV file into the store",
		Long: `Take readings from a CSV file into the store. The first row names the columns:

  time              RFC 3339 with zone, as in 2026-03-02T08:00:00Z
  elapsed_s         or: seconds since --start
  sensor            optional; else --sensor
  flags             optional, as dustlog writes them
  pm2_5_ug_m3 …     values, the unit in the name; *_mg_m3 and *_per_0_1l are converted

Other headers are mapped with --column HEADER=KEY or left out with --ignore.
An empty cell is a missing value. A bad row names file, line, column and reason,
and nothing of a failed import stays in the store. A reading that is there
already is not taken twice.`,
		Example: `  dustlog import week.csv --sensor bench --position breathing_zone
  dustlog import run.csv --sensor chamber --start 2026-03-02T08:00:00Z \
      --column time=elapsed_s --column mPM2.5=pm2_5_ug_m3 --ignore temp_F`,
		Args: exactArgs("FILE.csv"),
		RunE: func(cmd *cobra.Command, args []string) error { return runImport(cmd, a, args[0], o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.sensor, "sensor", "", "name of the sensor, if the file has no sensor column")
	f.StringVar(&o.model, "model", "", "its model, for what it can see")
	f.StringVar(&o.position, "position", "", "where it sits: breathing_zone, room, exhaust, background, upstream, downstream (new sensors: room)")
	f.BoolVar(&o.move, "move", false, "let --position or --model replace what the store says of the sensor, for all its readings")
	f.StringVar(&o.start, "start", "", "moment of elapsed second 0: "+whenHelp)
	f.StringArrayVar(&o.columns, "column", nil, "HEADER=KEY, for a header with another name")
	f.StringSliceVar(&o.ignore, "ignore", nil, "headers to leave out")
	a.addJSON(cmd)
	return cmd
}

func runImport(cmd *cobra.Command, a *app, path string, o importOptions) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	options, like, err := o.parse(cmd, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	_, missing := os.Stat(cfg.Store)
	records, err := a.writable(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	known, err := records.Sensors(cmd.Context())
	if err != nil {
		return err
	}
	count := importCount{sensors: map[string]bool{}, known: known, like: like, move: o.move}
	err = records.Import(cmd.Context(), func(tx sqlite.Appender) error {
		return count.take(cmd.Context(), tx, csvfile.Read(f, path, options))
	})
	if err != nil {
		if missing != nil { // the store was made for this import
			err = errors.Join(err, records.Close(), removeStore(cfg.Store))
		}
		return fmt.Errorf("nothing was imported: %w", err)
	}
	names := slices.Sorted(maps.Keys(count.sensors))
	if a.json {
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "file": path, "readings": count.read, "added": count.added,
			"already_there": count.read - count.added, "flagged": count.flagged, "sensors": names})
	}
	fmt.Fprintf(a.Stdout, "%s: %d readings of %s, %d new, %d there already, %d flagged\n",
		path, count.read, strings.Join(names, ", "), count.added, count.read-count.added, count.flagged)
	return nil
}

// parse returns how to read the file, and what the flags say of its sensors.
func (o importOptions) parse(cmd *cobra.Command, now time.Time, zone *time.Location) (csvfile.Options, dust.Sensor, error) {
	options := csvfile.Options{Sensor: o.sensor, Columns: map[string]string{}, Ignore: o.ignore}
	var like dust.Sensor
	var err error
	if o.position != "" {
		if like.Position, err = dust.ParsePosition(o.position); err != nil {
			return options, like, usage(cmd, err)
		}
	}
	if o.model != "" {
		model, err := sensor.ParseModel(o.model)
		if err != nil {
			return options, like, err
		}
		like.Model = string(model)
	}
	if o.start != "" {
		if options.Start, err = parseWhen(o.start, now, zone); err != nil {
			return options, like, usage(cmd, fmt.Errorf("--start: %w", err))
		}
	}
	for _, pair := range o.columns {
		header, key, ok := strings.Cut(pair, "=")
		if !ok {
			return options, like, usage(cmd, fmt.Errorf("--column %q: write HEADER=KEY", pair))
		}
		options.Columns[header] = key
	}
	return options, like, nil
}

// importCount counts what an import took.
type importCount struct {
	read, added, flagged int
	sensors              map[string]bool
	known                []dust.Sensor
	like                 dust.Sensor // model and position from the flags
	move                 bool
}

const importBatch = 5000

// removeStore removes an empty store that was made in vain.
func removeStore(path string) error {
	for _, ending := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(path + ending); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// describe is what the store shall say of a sensor. A position holds for all its
// readings, old ones too, so it is never changed in passing.
func (n *importCount) describe(name string) (dust.Sensor, error) {
	s := n.like
	s.Name = name
	for _, old := range n.known {
		if old.Name != name {
			continue
		}
		if !n.move && s.Position != "" && s.Position != old.Position {
			return s, fmt.Errorf("sensor %q sits at %s in the store, not at %s: import under another --sensor name, or change all its readings with --move",
				name, old.Position.Label(), s.Position.Label())
		}
		if !n.move && s.Model != "" && old.Model != "" && s.Model != old.Model {
			return s, fmt.Errorf("sensor %q is a %s in the store, not a %s: import under another --sensor name, or change it with --move", name, old.Model, s.Model)
		}
		return s, nil
	}
	if s.Position == "" {
		s.Position = dust.Room
	}
	return s, nil
}

// take writes all readings of a file inside the transaction of tx.
func (n *importCount) take(ctx context.Context, tx sqlite.Appender, rows readingSeq) error {
	batch := make([]dust.Reading, 0, importBatch)
	flush := func() error {
		added, err := tx.Append(ctx, batch)
		n.added += added
		batch = batch[:0]
		return err
	}
	for r, err := range rows {
		if err != nil {
			return err
		}
		if !n.sensors[r.Sensor] {
			n.sensors[r.Sensor] = true
			described, err := n.describe(r.Sensor)
			if err != nil {
				return err
			}
			if err := tx.PutSensor(ctx, described); err != nil {
				return err
			}
		}
		n.read++
		if r.Flags != 0 {
			n.flagged++
		}
		if batch = append(batch, r); len(batch) == importBatch {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	if n.read == 0 {
		return errors.New("the file has a header but no readings")
	}
	return flush()
}
