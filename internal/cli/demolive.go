package cli

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"dustlog/internal/config"
	"dustlog/internal/demo"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// runDemoLive plays one invented day in real time through pseudo-terminals
// into the collector that real sensors use.
func runDemoLive(ctx context.Context, a *app, o demoOptions) error {
	if err := prepareDemo(o.out); err != nil {
		return err
	}
	shop := demo.New(o.seed, demo.FirstMonday)
	var fakes []*sensortest.PTY
	defer func() {
		for _, f := range fakes {
			f.Close()
		}
	}()
	var sensors strings.Builder
	for _, s := range shop.Sensors {
		fake, err := sensortest.NewPTY(sensor.Model(s.Model))
		if err != nil {
			return fmt.Errorf("opening a pseudo-terminal for the demo: %w", err)
		}
		fakes = append(fakes, fake)
		fmt.Fprintf(&sensors, "\n[[sensor]]\nname = %q\nmodel = %q\nport = %q\nposition = %q\n", s.Name, s.Model, fake.Path(), s.Position)
	}
	path := filepath.Join(o.out, "dustlog.toml")
	text := fmt.Sprintf("# The invented shop, live.\nstore = %q\n\n[shop]\nname = %q\n%s", "demo.db", demo.ShopName, sensors.String())
	if err := writeWhole(path, []byte(text)); err != nil {
		return err
	}
	cfg, err := config.Load(config.Sources{Path: path, LookupEnv: func(string) (string, bool) { return "", false }})
	if err != nil {
		return err
	}
	a.remark("An invented shop, live: work starts ten minutes into its day. In another terminal: %s sensors --config %s", a.called(), path)
	playing, stop := context.WithCancel(ctx)
	var players sync.WaitGroup
	for i, s := range shop.Sensors {
		players.Go(func() { playLive(playing, shop.Days[0], s, fakes[i]) })
	}
	err = runCollect(ctx, a, cfg, "", false)
	stop()
	players.Wait()
	return err
}

// playLive sends one sensor's values as the seconds pass, from shortly before
// the first task.
func playLive(ctx context.Context, day demo.Day, s dust.Sensor, fake *sensortest.PTY) {
	began := time.Now()
	skip := day.Tasks[0].Start.Add(-time.Minute).Sub(day.Start)
	for moment := range day.Levels(s) {
		wait := time.Until(began.Add(moment.At.Sub(day.Start) - skip))
		if wait < -2*time.Second {
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		if err := fake.Send(moment.Values); err != nil {
			return
		}
	}
}
