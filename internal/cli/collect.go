package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/capture"
	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/respirator"
	"dustlog/internal/store/sqlite"
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
	var folder, serve, metrics string
	cmd := &cobra.Command{
		Use:   "collect",
		Short: "Read the sensors and keep every reading, until Ctrl-C",
		Long: `Read the sensors named in the configuration file and keep every reading. Ctrl-C
writes what was read and ends with exit code 0. A sensor that goes away is
opened again when it comes back; the others are not disturbed.

Whether the respirator is still needed is said in one line whenever that changes,
and a program may be run then ([respirator] on_change): see docs/respirator.md.

Readings are committed every 10 seconds ([collect] commit_every): that much can
be lost if the program is killed or the power fails.

A configuration file that works:

` + sampleConfig,
		Example: `  dustlog collect --config dustlog.toml
  dustlog collect --json > readings.jsonl
  dustlog collect --capture raw
  dustlog collect --serve 127.0.0.1:3878 --metrics 127.0.0.1:3879`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := a.load(given(map[string]string{"serve.address": serve, "collect.metrics": metrics}))
			if err != nil {
				return err
			}
			return runCollect(cmd.Context(), a, cfg, folder, serve != "")
		},
	}
	cmd.Flags().StringVar(&folder, "capture", "", "folder that keeps the raw bytes too, for dustlog replay")
	cmd.Flags().StringVar(&serve, "serve", "", "host:port at which to offer the page too, as dustlog serve does")
	cmd.Flags().StringVar(&metrics, "metrics", "", "host:port at which to offer OpenMetrics and health, without a password, as in 127.0.0.1:3879")
	cmd.Flags().BoolVar(&a.json, "json", false, "print each reading as one JSON object a line (keys carry units; keys are only ever added)")
	return cmd
}

func runCollect(ctx context.Context, a *app, cfg config.Config, folder string, serve bool) error {
	inputs, done, err := inputsFrom(a, cfg, folder)
	if err != nil {
		return err
	}
	defer func() {
		if err := done(); err != nil {
			a.log().Error("the capture is incomplete", "error", err)
		}
	}()
	records, err := a.writable(ctx, cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	defer a.sealBeside(ctx, records)()
	forwarded, err := a.forwardBeside(ctx, cfg, records)
	if err != nil {
		return err
	}
	defer forwarded()
	for _, in := range inputs {
		if err := records.PutSensor(ctx, in.Sensor); err != nil {
			return err
		}
	}
	a.remark("collecting from %d sensor(s) into %s; Ctrl-C ends", len(inputs), cfg.Store)
	show := newLiveLine(a)
	watch, err := a.startRespirator(ctx, cfg, inputs, records, show)
	if err != nil {
		return err
	}
	offer, stopPage, err := a.pageBeside(ctx, cfg, records, serve, watch.forPage)
	if err != nil {
		watch.stop()
		return err
	}
	defer stopPage()
	publish, stopPublishing, err := a.publishBeside(cfg)
	if err != nil {
		watch.stop()
		return err
	}
	defer stopPublishing()
	count, stopMetrics, err := a.metricsBeside(ctx, cfg, inputs)
	if err != nil {
		watch.stop()
		return err
	}
	defer stopMetrics()
	summary, err := collect.Run(ctx, inputs, count.Sink(records), collect.Options{
		CommitEvery: cfg.CommitEvery, Log: a.log(),
		OnReading: func(r dust.Reading) { show.reading(r); watch.reading(r); offer(r); publish(r); count.Reading(r) },
		OnTurn:    a.signOfLife(),
	})
	show.done()
	watch.stop()
	watch.summarise(a)
	for _, s := range summary.Sensors {
		a.remark("%s: %d readings, %d flagged; %d bad checksums, %d other bad frames, %d bytes skipped; lost %d, silent %d time(s)",
			s.Sensor, s.Readings, s.Flagged, s.Line.ChecksumErrors, s.Line.OtherErrors, s.Line.BytesSkipped, s.Lost, s.Silent)
	}
	return err
}

// Finished days are sealed once they are two days old: by then late readings and
// corrections of the clock have come.
const (
	sealEvery = time.Hour
	sealAfter = 48 * time.Hour
)

// sealBeside seals finished days until stop is called, which waits for the day
// in hand.
func (a *app) sealBeside(ctx context.Context, records *sqlite.Store) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		records.SealLoop(ctx, sealEvery, sealAfter, func(r sqlite.SealReport, err error) {
			if err != nil {
				a.log().Warn("finished days are not sealed yet, will try again", "error", err)
			}
		})
	}()
	return func() {
		cancel()
		<-ended
	}
}

// inputsFrom turns the configured sensors into inputs that open real ports. With
// a folder, the raw bytes are captured there; done ends the captures.
func inputsFrom(a *app, cfg config.Config, folder string) (inputs []collect.Input, done func() error, err error) {
	if len(cfg.Sensors) == 0 {
		where := "there is no configuration file"
		if cfg.Path != "" {
			where = cfg.Path + " names no sensor"
		}
		return nil, nil, fmt.Errorf("%w: %s; write a dustlog.toml like this:\n\n%s", config.ErrFile, where, sampleConfig)
	}
	login, err := a.brokerLogin(cfg)
	if err != nil {
		return nil, nil, err
	}
	var lines []*line
	done = func() (err error) {
		for _, l := range lines {
			err = errors.Join(err, l.close())
		}
		return err
	}
	for _, s := range cfg.Sensors {
		l, err := newLine(cfg, s)
		if err != nil {
			return nil, nil, errors.Join(err, done())
		}
		l.login = login
		if folder != "" {
			if l.capture, err = capture.Create(folder, l.sensor, l.model.Spec().WarmUp, a.Now()); err != nil {
				return nil, nil, errors.Join(err, done())
			}
		}
		lines = append(lines, l)
		inputs = append(inputs, collect.Input{Sensor: l.sensor, WarmUp: l.model.Spec().WarmUp, Clock: l.clock, Open: l.open})
	}
	return inputs, done, nil
}

// liveLine shows the newest readings: one line that is redrawn on a terminal,
// JSON lines with --json, nothing otherwise.
type liveLine struct {
	mu     sync.Mutex
	a      *app
	tty    bool
	order  []string
	latest map[string]string
	drawn  time.Time
	mask   func() respirator.Status
	enc    *json.Encoder
}

func newLiveLine(a *app) *liveLine {
	return &liveLine{a: a, tty: !a.quiet && !a.json && isTerminal(a.Stderr), latest: map[string]string{}, enc: json.NewEncoder(a.Stdout)}
}

func (l *liveLine) reading(r dust.Reading) {
	l.mu.Lock()
	defer l.mu.Unlock()
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
		parts := []string{inShort(l.mask())}
		for _, name := range l.order {
			parts = append(parts, l.latest[name])
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
