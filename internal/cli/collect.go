package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/capture"
	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// sampleConfig is a complete configuration, shown where one is missing.
const sampleConfig = `[shop]
name  = "My shop"
shift = "08:00-16:30"

[[sensor]]
name     = "bench"
model    = "sps30"
port     = "/dev/ttyUSB0"
position = "breathing_zone"`

func newCollect(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "collect",
		Short: "Read the sensors and keep every reading, until Ctrl-C",
		Long: `Read the sensors named in the configuration file and keep every reading. Ctrl-C
writes what was read and ends with exit code 0. A sensor that goes away is
opened again when it comes back; the others are not disturbed.

Readings are committed every 10 seconds ([collect] commit_every): that much can
be lost if the program is killed or the power fails.

A configuration file that works:

` + sampleConfig,
		Example: `  dustlog collect --config dustlog.toml
  dustlog collect --json > readings.jsonl`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := a.load(nil)
			if err != nil {
				return err
			}
			return runCollect(cmd.Context(), a, cfg)
		},
	}
	a.addJSON(cmd)
	return cmd
}

func runCollect(ctx context.Context, a *app, cfg config.Config) error {
	inputs, err := inputsFrom(cfg)
	if err != nil {
		return err
	}
	records, err := a.writable(ctx, cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	for _, in := range inputs {
		if err := records.PutSensor(ctx, in.Sensor); err != nil {
			return err
		}
	}
	a.remark("collecting from %d sensor(s) into %s; Ctrl-C ends", len(inputs), cfg.Store)
	show := newLiveLine(a)
	summary, err := collect.Run(ctx, inputs, records, collect.Options{
		CommitEvery: cfg.CommitEvery, Log: a.log(), OnReading: show.reading,
	})
	show.done()
	for _, s := range summary.Sensors {
		a.remark("%s: %d readings, %d flagged; %d bad checksums, %d other bad frames, %d bytes skipped; lost %d time(s)",
			s.Sensor, s.Readings, s.Flagged, s.Line.ChecksumErrors, s.Line.OtherErrors, s.Line.BytesSkipped, s.Lost)
	}
	return err
}

// inputsFrom turns the configured sensors into inputs that open real ports.
func inputsFrom(cfg config.Config) ([]collect.Input, error) {
	if len(cfg.Sensors) == 0 {
		where := "there is no configuration file"
		if cfg.Path != "" {
			where = cfg.Path + " names no sensor"
		}
		return nil, fmt.Errorf("%w: %s; write a dustlog.toml like this:\n\n%s", config.ErrFile, where, sampleConfig)
	}
	var inputs []collect.Input
	for _, s := range cfg.Sensors {
		model, err := sensor.ParseModel(s.Model)
		if err != nil {
			return nil, fmt.Errorf("%w %s: sensor %q: %w", config.ErrFile, cfg.Path, s.Name, err)
		}
		position, err := dust.ParsePosition(s.Position)
		if err != nil {
			return nil, fmt.Errorf("%w %s: sensor %q: %w", config.ErrFile, cfg.Path, s.Name, err)
		}
		inputs = append(inputs, collect.Input{
			Sensor: dust.Sensor{Name: s.Name, Model: string(model), Position: position},
			WarmUp: model.Spec().WarmUp,
			Open: func(context.Context) (collect.Source, error) {
				device, err := sensor.Open(s.Port, model)
				if err != nil {
					return nil, err
				}
				return deviceSource{device}, nil
			},
		})
	}
	return inputs, nil
}

// deviceSource lets the collector read a device.
type deviceSource struct{ *sensor.Device }

func (d deviceSource) Quality() dust.LineQuality { return capture.Quality(d.Counts()) }

// liveLine shows the newest readings: one line that is redrawn on a terminal,
// JSON lines with --json, nothing otherwise.
type liveLine struct {
	a      *app
	tty    bool
	order  []string
	latest map[string]string
	drawn  time.Time
	enc    *json.Encoder
}

func newLiveLine(a *app) *liveLine {
	return &liveLine{a: a, tty: !a.quiet && !a.json && isTerminal(a.Stderr), latest: map[string]string{}, enc: json.NewEncoder(a.Stdout)}
}

func (l *liveLine) reading(r dust.Reading) {
	if l.a.json {
		_ = l.enc.Encode(readingObject(r))
		return
	}
	if !l.tty {
		return
	}
	if _, known := l.latest[r.Sensor]; !known {
		l.order = append(l.order, r.Sensor)
	}
	text := r.Sensor
	if x, ok := r.Values.Get(dust.PM25); ok {
		text += fmt.Sprintf(" PM2.5 %.0f µg/m³", x)
	}
	if r.Flags != 0 {
		text += " (" + strings.ReplaceAll(r.Flags.String(), "_", " ") + ")"
	}
	l.latest[r.Sensor] = text
	if now := l.a.Now(); now.Sub(l.drawn) >= 500*time.Millisecond {
		l.drawn = now
		parts := make([]string, len(l.order))
		for i, name := range l.order {
			parts[i] = l.latest[name]
		}
		fmt.Fprintf(l.a.Stderr, "\r\x1b[K%s", strings.Join(parts, "  ·  "))
	}
}

func (l *liveLine) done() {
	if l.tty && len(l.order) > 0 {
		fmt.Fprintln(l.a.Stderr)
	}
}

// readingObject is a reading as one JSON line.
func readingObject(r dust.Reading) map[string]any {
	object := map[string]any{"time": r.Time.Format(time.RFC3339Nano), "sensor": r.Sensor, "flags": r.Flags.Names()}
	for c, x := range r.Values.All() {
		object[c.Key()] = x
	}
	return object
}
