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
	"dustlog/internal/store/sqlite"
)

type importOptions struct {
	sensor, model, position string
	start                   string
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
	f.StringVar(&o.position, "position", string(dust.Room), "where it sits: breathing_zone, room, exhaust, background, upstream, downstream")
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
	options, position, err := o.parse(cmd, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	records, err := a.writable(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	count := importCount{sensors: map[string]bool{}}
	err = records.Import(cmd.Context(), func(tx sqlite.Appender) error {
		return count.take(cmd.Context(), tx, csvfile.Read(f, path, options), dust.Sensor{Model: o.model, Position: position})
	})
	if err != nil {
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

func (o importOptions) parse(cmd *cobra.Command, now time.Time, zone *time.Location) (csvfile.Options, dust.Position, error) {
	options := csvfile.Options{Sensor: o.sensor, Columns: map[string]string{}, Ignore: o.ignore}
	position, err := dust.ParsePosition(o.position)
	if err != nil {
		return options, position, usage(cmd, err)
	}
	if o.start != "" {
		if options.Start, err = parseWhen(o.start, now, zone); err != nil {
			return options, position, usage(cmd, fmt.Errorf("--start: %w", err))
		}
	}
	for _, pair := range o.columns {
		header, key, ok := strings.Cut(pair, "=")
		if !ok {
			return options, position, usage(cmd, fmt.Errorf("--column %q: write HEADER=KEY", pair))
		}
		options.Columns[header] = key
	}
	return options, position, nil
}

// importCount counts what an import took.
type importCount struct {
	read, added, flagged int
	sensors              map[string]bool
}

const importBatch = 5000

// take writes all readings of a file inside the transaction of tx.
func (n *importCount) take(ctx context.Context, tx sqlite.Appender, rows readingSeq, like dust.Sensor) error {
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
			like.Name = r.Sensor
			if err := tx.PutSensor(ctx, like); err != nil {
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
