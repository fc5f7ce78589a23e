package cli

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/clearance"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

type clearanceOptions struct {
	win     windowFlags
	metric  string
	sensor  string
	setup   string
	volume  string
	level   string
	longest time.Duration
	on, off string
}

func newClearance(a *app) *cobra.Command {
	var o clearanceOptions
	cmd := &cobra.Command{
		Use:   "clearance",
		Short: "How fast dust leaves the air after work, and for how many minutes it stays",
		Long: `How fast dust leaves the air once its source is off: the rate in air changes per
hour, fitted to the fall of the dust after each task and pooled by setup, one
decay being one observation. With the room's volume also the flow of clean air
that clears it so fast, and what each task gave off; with a level, the minutes
until the air is below it. Let a sensor in the room run for an hour after work.

` + cautionShort,
		Example: `  dustlog clearance --volume 120m3 --level "50 ug/m3"
  dustlog clearance --volume 4200ft3 --cleaner-on "filter running" --cleaner-off "filter off" --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runClearance(cmd, a, o) },
	}
	o.win.add(cmd)
	cmd.Flags().StringVar(&o.metric, "metric", "pm2_5", "what is watched: pm1, pm2_5, pm4, pm10 or a count")
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "sensor (default: the one in the room, else in the breathing zone)")
	cmd.Flags().StringVar(&o.setup, "setup", "", "show this setup only")
	cmd.Flags().StringVar(&o.volume, "volume", "", "volume of the room with its unit, m3 or ft3, as in 120m3")
	cmd.Flags().StringVar(&o.level, "level", "", "level to wait for with its unit, as in \"50 ug/m3\"")
	cmd.Flags().DurationVar(&o.longest, "longest", clearance.DefaultLongest, "watch a decay for at most this long")
	cmd.Flags().StringVar(&o.on, "cleaner-on", "", "setup with an air cleaner running, for its clean-air delivery rate")
	cmd.Flags().StringVar(&o.off, "cleaner-off", "", "setup with the air cleaner off")
	a.addJSON(cmd)
	for _, name := range []string{"setup", "cleaner-on", "cleaner-off"} {
		_ = cmd.RegisterFlagCompletionFunc(name, a.completeSetups)
	}
	return cmd
}

// question reads the flags.
func (o clearanceOptions) question() (study.Clearing, error) {
	q := study.Clearing{Sensor: o.sensor, Setup: o.setup, Longest: o.longest, On: o.on, Off: o.off}
	var err error
	if q.Metric, err = dust.ParseMetric(o.metric); err != nil {
		return q, err
	}
	if o.volume != "" {
		if q.VolumeM3, err = clearance.ParseVolume(o.volume); err != nil {
			return q, fmt.Errorf("--volume: %w", err)
		}
	}
	if o.level != "" {
		if !q.Metric.IsMass() {
			return q, fmt.Errorf("--level is a mass of dust, but --metric %s is not", o.metric)
		}
		level, err := dust.ParseConcentration(o.level)
		if err != nil {
			return q, fmt.Errorf("--level: %w", err)
		}
		if !(level > 0) {
			return q, fmt.Errorf("--level %q must be above zero", o.level)
		}
		q.Level = float64(level)
	}
	if o.longest < 5*time.Minute {
		return q, fmt.Errorf("--longest %s: a decay shorter than 5m tells nothing", o.longest)
	}
	if (o.on == "") != (o.off == "") || (o.on != "" && o.on == o.off) {
		return q, errors.New("--cleaner-on and --cleaner-off must name two setups")
	}
	return q, nil
}

func runClearance(cmd *cobra.Command, a *app, o clearanceOptions) error {
	q, err := o.question()
	if err != nil {
		return usage(cmd, err)
	}
	return a.inStudy(cmd, nil, o.win, func(s *study.Study, cfg config.Config, w study.Window) error {
		q.Window = w
		result, err := s.Clearance(cmd.Context(), q)
		if err != nil {
			return err
		}
		if a.json {
			return writeJSON(a.Stdout, result)
		}
		printClearance(a, result, cfg.Shop.Zone)
		return nil
	})
}

func printClearance(a *app, r clearance.Result, zone *time.Location) {
	fmt.Fprintf(a.Stdout, "Clearance of %s, sensor %s (%s)\n\n", metricLabel(r.Metric), r.Sensor, dust.Position(r.Position).Label())
	printDecays(a, r, zone)
	printRates(a, r)
	printCleaner(a, r)
	printEmissions(a, r)
	for _, warning := range words.Strings(r.Warnings) {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
	}
	fmt.Fprintln(a.Stdout, wrap("Method: "+r.Method.String(), 98, "  "))
	fmt.Fprintln(a.Stdout)
	fmt.Fprintln(a.Stdout, cautionShort)
}

func printDecays(a *app, r clearance.Result, zone *time.Location) {
	if len(r.Decays) == 0 {
		fmt.Fprintln(a.Stdout, wrap("No decay found: no task ended in the time asked about, and the dust never fell clearly.", 98, "  "))
		return
	}
	headers := []string{"  DATE", "AFTER", "SETUP", "RECORD", "RATE 1/h", "95 % INTERVAL 1/h", "START " + r.Unit, "BACKGROUND " + r.Unit, "COUNTS"}
	if r.Level != nil {
		headers = append(headers, fmt.Sprintf("UNTIL %g %s min", *r.Level, r.Unit))
	}
	t := newTable(a.Stdout, headers...)
	for _, d := range r.Decays {
		after := d.After
		if after == "" {
			after = "(no task)"
		}
		row := []any{"  " + d.Date, after, d.Setup, d.From.In(zone).Format("15:04") + "–" + d.To.In(zone).Format("15:04")}
		if d.State != clearance.Measured {
			t.row(append(row, string(d.State), "–", "–", "–", "no")...)
			continue
		}
		row = append(row, number(d.PerHour, "%.2f"), interval(d.Low, d.High, "%.2f"), number(d.C0, "%.3g"), number(d.Background, "%.3g"), yesNo(d.Pooled))
		if r.Level != nil {
			minutes := number(d.MinutesToLevel, "%.0f")
			if d.BeyondRecord {
				minutes += " (beyond the record)"
			}
			row = append(row, minutes)
		}
		t.row(row...)
	}
	t.flush()
	printReasons(a, r, zone)
}

// printReasons says why decays give no rate. There may be many.
func printReasons(a *app, r clearance.Result, zone *time.Location) {
	const most = 8
	shown, more := 0, 0
	for _, d := range r.Decays {
		switch {
		case d.State == clearance.Measured:
		case shown == most:
			more++
		default:
			shown++
			fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("%s %s: %s", d.Date, d.From.In(zone).Format("15:04"), d.Why), 98, "  "))
		}
	}
	if more > 0 {
		fmt.Fprintf(a.Stdout, "  … and %d more; --json has them all\n", more)
	}
	if slices.ContainsFunc(r.Decays, func(d clearance.Decay) bool { return d.State == clearance.Measured && !d.Pooled }) {
		fmt.Fprintln(a.Stdout, wrap("A rate that does not count for its setup: the diary does not say that the source was off, or its background is "+
			"from elsewhere and the setup has enough decays without.", 98, "  "))
	}
	fmt.Fprintln(a.Stdout)
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

func printRates(a *app, r clearance.Result) {
	if len(r.Setups) == 0 {
		return
	}
	t := newTable(a.Stdout, "  SETUP", "DECAYS", "RATE 1/h", "95 % INTERVAL 1/h", "HALF-LIFE min", "99 % GONE min", "99.9 % GONE min", "CLEAN AIR m³/h", "cfm")
	for _, s := range r.Setups {
		t.row("  "+orNone(s.Setup), fmt.Sprintf("%d of %d", s.Runs, s.Runs+s.LeftOut), number(s.PerHour, "%.2f"), interval(s.Low, s.High, "%.2f"),
			number(s.HalfLifeMinutes, "%.1f"), number(s.Minutes99, "%.0f"), number(s.Minutes999, "%.0f"),
			number(s.CleanAirM3H, "%.0f"), number(s.CleanAirCFM, "%.0f"))
	}
	t.flush()
	for _, s := range r.Setups {
		if !s.Why.IsZero() {
			fmt.Fprintln(a.Stdout, wrap(orNone(s.Setup)+": "+s.Why.String(), 98, "  "))
		}
		if s.Wait != nil {
			fmt.Fprintln(a.Stdout, wrap(waitText(s, *r.Level, r.Unit), 98, "  "))
		}
	}
	fmt.Fprintln(a.Stdout)
}

// waitText says how long the air takes after the dustiest task's end.
func waitText(s clearance.SetupClearance, level float64, unit string) string {
	text := fmt.Sprintf("%s: from %.3g %s, the dustiest start seen, until %g %s:", orNone(s.Setup), *s.Dustiest, unit, level, unit)
	switch w := s.Wait; {
	case w.Estimate == nil:
		return text + " cannot tell, " + w.Why.String()
	case w.Upper == nil:
		return text + fmt.Sprintf(" about %.0f min, upper bound cannot be told: %s", *w.Estimate, w.Why)
	default:
		text += fmt.Sprintf(" about %.0f min, at most %.0f min (95 %%, next decay)", *w.Estimate, *w.Upper)
		if w.BeyondRecord {
			text += "; no decay was watched for so long"
		}
		return text
	}
}

func printCleaner(a *app, r clearance.Result) {
	c := r.Cleaner
	if c == nil {
		return
	}
	text := fmt.Sprintf("Air cleaner, %q against %q: clean-air delivery rate", c.On, c.Off)
	if c.CADRM3H == nil {
		text += " cannot be told"
	} else {
		text += fmt.Sprintf(" %.0f m³/h (%.0f cfm), 95 %% interval %s m³/h, from %d and %d decays", *c.CADRM3H, *c.CADRCFM, interval(c.LowM3H, c.HighM3H, "%.0f"), c.RunsOn, c.RunsOff)
	}
	if !c.Why.IsZero() {
		text += "; " + c.Why.String()
	}
	fmt.Fprintln(a.Stdout, wrap(text, 98, "  "))
	fmt.Fprintln(a.Stdout)
}

func printEmissions(a *app, r clearance.Result) {
	if len(r.Emissions) == 0 {
		return
	}
	fmt.Fprintln(a.Stdout, wrap("What each task gave off to the room's air, as the sensor weighs it, taking the room for one mixed box:", 98, "  "))
	t := newTable(a.Stdout, "  DATE", "TASK", "SETUP", "min", "MASS mg", "mg/min", "")
	for _, e := range r.Emissions {
		t.row("  "+e.Date, e.Task, e.Setup, fmt.Sprintf("%.0f", e.Minutes), number(e.MassMg, "%.3g"), number(e.MgPerMin, "%.3g"), e.Why)
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
}

// interval prints two limits.
func interval(low, high *float64, format string) string {
	if low == nil && high == nil {
		return "–"
	}
	return number(low, format) + " to " + number(high, format)
}

func orNone(setup string) string {
	if setup == "" {
		return "(no setup)"
	}
	return setup
}
