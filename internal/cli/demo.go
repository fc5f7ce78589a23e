package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"dustlog/internal/airflow"
	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/demo"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
)

const demoFolder = "dustlog-demo"

type demoOptions struct {
	out    string
	seed   uint64
	live   bool
	report reportOptions
}

func newDemo(a *app) *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "The whole job on an invented shop's two weeks",
		Long: `Play an invented shop's two working weeks, before and after a change of separator,
as the raw bytes of three sensors of three models, spoiled frames among them.
The bytes go the way real ones go: decode, collect, store, exposure, compare,
plots, report. At the end stand the answers and the report's path.

The shop, its people and its dust are invented. The same seed gives the same
bytes.`,
		Example: "  dustlog demo\n  dustlog demo --live",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.live {
				return runDemoLive(cmd.Context(), a, o)
			}
			return runDemo(cmd.Context(), a, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "out", "o", demoFolder, "folder to write to")
	cmd.Flags().Uint64Var(&o.seed, "seed", demo.DefaultSeed, "seed of the invented weeks")
	cmd.Flags().BoolVar(&o.live, "live", false, "play one day in real time through pseudo-terminals into collect, until Ctrl-C")
	return cmd
}

func runDemo(ctx context.Context, a *app, o demoOptions) error {
	began := a.Now()
	if err := prepareDemo(o.out); err != nil {
		return err
	}
	shop := demo.New(o.seed, demo.FirstMonday)
	cfg, err := demoConfig(a, o.out)
	if err != nil {
		return err
	}
	a.remark("An invented shop: two weeks, three sensors, one change. Nothing here was measured anywhere.")
	readings, err := playWeeks(ctx, a, shop, cfg.Store, o.out)
	if err != nil {
		return err
	}
	a.remark("%d readings stored in %s", readings, cfg.Store)
	o.report.out = filepath.Join(o.out, "report.html")
	o.report.before, o.report.after, o.report.invented = demo.OldSetup, demo.NewSetup, true
	in, err := runReport(ctx, a, cfg, o.report, study.Window{})
	if err != nil {
		return err
	}
	fmt.Fprintln(a.Stdout)
	printAnswers(a, in)
	path, err := filepath.Abs(o.report.out)
	if err != nil {
		return err
	}
	fmt.Fprintf(a.Stdout, "Open the report: %s\n", path)
	fmt.Fprintf(a.Stdout, "Ask the data yourself: %s exposure --config %s\n", a.called(), filepath.Join(o.out, "dustlog.toml"))
	a.remark("took %.0f s", a.Now().Sub(began).Seconds())
	return nil
}

// demoFiles are what the demo writes, and so what it may replace.
var demoFiles = []string{"demo.db", "demo.db-wal", "demo.db-shm", "dustlog.toml", "report.html", "bench.bin", "outlet.bin", "store room.bin"}

// prepareDemo makes the folder, or clears an earlier demo out of it. A folder
// that holds anything else is left alone.
func prepareDemo(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	for _, e := range entries {
		known := false
		for _, name := range demoFiles {
			known = known || e.Name() == name
		}
		if !known {
			return fmt.Errorf("folder %s holds %s, which the demo did not write: choose another with --out", dir, e.Name())
		}
	}
	for _, name := range demoFiles {
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return os.MkdirAll(dir, 0o755)
}

// demoConfig writes the invented shop's configuration and loads it.
func demoConfig(a *app, dir string) (config.Config, error) {
	path := filepath.Join(dir, "dustlog.toml")
	text := fmt.Sprintf(`# The invented shop of `+"`dustlog demo`"+`.
store = %q

[shop]
name  = %q
zone  = "UTC"
shift = %q
%s`, "demo.db", demo.ShopName, demo.ShiftHours, demo.Collector)
	if err := writeWhole(path, []byte(text)); err != nil {
		return config.Config{}, err
	}
	return config.Load(config.Sources{Path: path, LookupEnv: func(string) (string, bool) { return "", false }})
}

// playWeeks carries the invented bytes through the collector into the store,
// day by day, and writes the diary. The first day's raw bytes are kept as files.
func playWeeks(ctx context.Context, a *app, shop *demo.Shop, store, dir string) (readings int64, err error) {
	records, err := sqlite.Open(ctx, store, sqlite.Options{Create: true})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, records.Close()) }()
	for _, s := range shop.Sensors {
		if err := records.PutSensor(ctx, s); err != nil {
			return 0, err
		}
	}
	bar := a.progress(len(shop.Days), "playing the bytes")
	defer bar.done()
	for i, day := range shop.Days {
		if err := writeDiary(ctx, records, shop, i); err != nil {
			return readings, err
		}
		n, err := playDay(ctx, records, day, shop.Sensors)
		readings += n
		if err != nil {
			return readings, err
		}
		bar.step(day.Start.Format("Mon 2 Jan"))
	}
	return readings, keepRaw(shop, dir)
}

func writeDiary(ctx context.Context, records *sqlite.Store, shop *demo.Shop, i int) error {
	day := shop.Days[i]
	if i == 0 || shop.Days[i-1].Setup != day.Setup {
		if err := records.UseSetup(ctx, day.Setup, "invented", day.Start); err != nil {
			return err
		}
	}
	for _, t := range day.Tasks {
		if _, err := records.AddTask(ctx, t); err != nil {
			return err
		}
	}
	for n, g := range day.Gauges() {
		e, err := airflow.GaugeEntry(fmt.Sprintf("demo-%d-%d", i, n), g.At, airflow.GaugeKind(g.Kind), g.Duct, g.Figures)
		if err != nil {
			return err
		}
		if _, err := records.Enter(ctx, e); err != nil {
			return err
		}
	}
	return nil
}

// playDay carries one day's bytes through the collector.
func playDay(ctx context.Context, records *sqlite.Store, day demo.Day, sensors []dust.Sensor) (int64, error) {
	var inputs []collect.Input
	for _, s := range sensors {
		stream, err := day.Stream(s)
		if err != nil {
			return 0, err
		}
		input, stop, err := played(s, sensor.Model(s.Model).Spec().WarmUp, stream)
		if err != nil {
			return 0, err
		}
		defer stop()
		inputs = append(inputs, input)
	}
	summary, err := collect.Run(ctx, inputs, records, collect.Options{CommitSize: 5000})
	if err == nil {
		err = ctx.Err()
	}
	return summary.Readings(), err
}

// keepRaw keeps the first day's bytes, so that a curious user can decode them.
func keepRaw(shop *demo.Shop, dir string) error {
	for _, s := range shop.Sensors {
		stream, err := shop.Days[0].Stream(s)
		if err != nil {
			return err
		}
		var raw []byte
		for chunk, err := range stream {
			if err != nil {
				return err
			}
			raw = append(raw, chunk.Bytes...)
		}
		if err := writeWhole(filepath.Join(dir, s.Name+".bin"), raw); err != nil {
			return err
		}
	}
	return nil
}
