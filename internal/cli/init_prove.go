package cli

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dustlog/internal/config"
	"dustlog/internal/dust"
)

// prove reads each sensor as collect would until a reading came, and prints it.
func (f *firstAnswers) prove(ctx context.Context, a *app, cfg config.Config, wait time.Duration) error {
	if len(cfg.Sensors) == 0 {
		fmt.Fprintln(a.Stdout, "No sensor was found, so the file names none. Plug one in, run `dustlog ports`, and add what it prints.")
		return nil
	}
	var failed error
	for _, s := range cfg.Sensors {
		v, err := firstReading(ctx, cfg, s, wait)
		if err != nil {
			failed = errors.Join(failed, fmt.Errorf("sensor %q: %w", s.Name, err))
			fmt.Fprintf(a.Stdout, "%s: %v\n", s.Name, err)
			continue
		}
		text := "data flow"
		if x, ok := v.Get(dust.PM25); ok {
			text += fmt.Sprintf(": PM2.5 %.1f µg/m³ at this moment (still warming up)", x)
		}
		fmt.Fprintf(a.Stdout, "%s: %s\n", s.Name, text)
	}
	return failed
}

func firstReading(ctx context.Context, cfg config.Config, s config.Sensor, wait time.Duration) (dust.Values, error) {
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	l, err := newLine(cfg, s)
	if err != nil {
		return dust.Values{}, err
	}
	source, err := l.open(ctx)
	if err != nil {
		return dust.Values{}, err
	}
	defer source.Close()
	v, _, err := source.Read(ctx)
	if errors.Is(err, context.DeadlineExceeded) {
		err = fmt.Errorf("%w in %s, though it spoke before: run `dustlog ports %s`", errNoFlow, wait, s.Port)
	}
	return v, err
}

// next says what to do now.
func (f *firstAnswers) next(a *app, path string) {
	program := "dustlog"
	if path != "dustlog.toml" { // that one is found by itself
		program += fmt.Sprintf(" --config %q", path)
	}
	t := bareTable(a.Stdout)
	fmt.Fprintln(a.Stdout, "\nNext:")
	t.row(fmt.Sprintf("  %s setup use %q", program, f.Setup), "# from now on")
	t.row(fmt.Sprintf("  %s collect --serve %s", program, config.DefaultServeAddress), "# leave it running; the page is at that address")
	t.row(fmt.Sprintf("  %s task start sanding", program), "# in another terminal, or on the page: the diary explains the dust")
	t.flush()
	fmt.Fprintf(a.Stdout, "\n%s\n", wrap(cautionShort, 78, ""))
}
