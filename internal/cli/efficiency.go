package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/efficiency"
	"dustlog/internal/study"
)

type efficiencyOptions struct {
	win        windowFlags
	upstream   string
	downstream string
	task       string
	setup      string
	zeroCheck  string
	swappedAt  []string
	delay      time.Duration
	sampleFlow string
	ductFlow   string
}

func newEfficiency(a *app) *cobra.Command {
	var o efficiencyOptions
	cmd := &cobra.Command{
		Use:   "efficiency",
		Short: "What a separator or filter holds back, by particle size",
		Long: `What a separator or filter holds back, from one sensor before and one behind it, by
size bin where the sensors measure sizes, and by the mass they show. Each task of
the diary is a run, and the run is the unit: with three or more the interval is
between runs. Nothing counted behind the filter gives a lower limit, never 100 %.

Log a task with both sensors in filtered air and name it with --zero-check; change
the sensors' places for half of the runs and say when with --swapped-at. Do not put
an unrated sensor inside ducts, filters or bins: wood dust in air can explode.

` + cautionShort,
		Example: `  dustlog efficiency --upstream inlet --downstream outlet --zero-check "zero check"
  dustlog efficiency --swapped-at "2026-03-05 08:00" --duct-flow "800 m3/h" --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runEfficiency(cmd, a, o) },
	}
	o.win.add(cmd)
	f := cmd.Flags()
	f.StringVar(&o.upstream, "upstream", "", "sensor before the filter (default: the one at position upstream)")
	f.StringVar(&o.downstream, "downstream", "", "sensor behind it (default: the one at position downstream, else exhaust)")
	f.StringVar(&o.task, "task", "", "only runs of this task")
	f.StringVar(&o.setup, "setup", "", "only runs under this setup")
	f.StringVar(&o.zeroCheck, "zero-check", "", "task during which both sensors had filtered air")
	f.StringArrayVar(&o.swappedAt, "swapped-at", nil, "moment at which the sensors changed places; repeat it for each change")
	f.DurationVar(&o.delay, "delay", 0, "the air behind the filter is this much later, as in 4s")
	f.StringVar(&o.sampleFlow, "sample-flow", "", "air that a sensor looks at, as in \"2.83 L/min\", if its data sheet tells: then particles are counted")
	f.StringVar(&o.ductFlow, "duct-flow", "", "air through the filter, as in \"800 m3/h\": then the dust passed is told")
	a.addJSON(cmd)
	_ = cmd.RegisterFlagCompletionFunc("setup", a.completeSetups)
	return cmd
}

// question reads the flags.
func (o efficiencyOptions) question(now time.Time, zone *time.Location) (study.Separation, error) {
	q := study.Separation{
		Upstream: o.upstream, Downstream: o.downstream, Task: o.task, Setup: o.setup, ZeroCheck: o.zeroCheck, Delay: o.delay,
	}
	for _, text := range o.swappedAt {
		at, err := parseWhen(text, now, zone)
		if err != nil {
			return q, fmt.Errorf("--swapped-at: %w", err)
		}
		q.SwappedAt = append(q.SwappedAt, at)
	}
	if o.delay < -10*time.Minute || o.delay > 10*time.Minute {
		return q, fmt.Errorf("--delay %s is more than ten minutes", o.delay)
	}
	var err error
	if o.sampleFlow != "" {
		if q.SampleFlow, err = efficiency.ParseSampleFlow(o.sampleFlow); err != nil {
			return q, fmt.Errorf("--sample-flow: %w", err)
		}
	}
	if o.ductFlow != "" {
		if q.DuctFlow, err = efficiency.ParseDuctFlow(o.ductFlow); err != nil {
			return q, fmt.Errorf("--duct-flow: %w", err)
		}
	}
	return q, nil
}

func runEfficiency(cmd *cobra.Command, a *app, o efficiencyOptions) error {
	if _, err := o.question(a.Now(), time.UTC); err != nil {
		return usage(cmd, err)
	}
	return a.inStudy(cmd, nil, o.win, func(s *study.Study, cfg config.Config, w study.Window) error {
		q, err := o.question(a.Now(), cfg.Shop.Zone)
		if err != nil {
			return usage(cmd, err)
		}
		q.Window = w
		result, err := s.Efficiency(cmd.Context(), q)
		if err != nil {
			return err
		}
		if a.json {
			return writeJSON(a.Stdout, result)
		}
		printEfficiency(a, result)
		return nil
	})
}

func printEfficiency(a *app, r efficiency.Result) {
	fmt.Fprintf(a.Stdout, "Efficiency, from %s (before) to %s (behind)\n", r.Upstream, r.Downstream)
	for _, s := range r.Setups {
		fmt.Fprintf(a.Stdout, "\n%s, %d run(s)\n", orNone(s.Setup), s.Runs)
		printBySize(a, s)
		printFractions(a, s)
		printLoading(a, s.Loading)
	}
	fmt.Fprintln(a.Stdout)
	for _, e := range r.Excluded {
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Left out: %s %s: %s", e.Date, e.Task, e.Why), 98, "  "))
	}
	for _, warning := range r.Warnings {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
	}
	fmt.Fprintln(a.Stdout, wrap("Method: "+r.Method, 98, "  "))
	fmt.Fprintln(a.Stdout)
	fmt.Fprintln(a.Stdout, cautionShort)
}

func printBySize(a *app, s efficiency.SetupEfficiency) {
	t := newTable(a.Stdout, "  SIZE OR MASS", "RUNS", "BEFORE", "BEHIND", "UNIT", "EFFICIENCY %", "95 % INTERVAL %", "FROM")
	for _, r := range s.BySize {
		t.row("  "+r.Label, r.Runs, number(r.Upstream, "%.3g"), number(r.Downstream, "%.3g"), r.Unit, efficiencyText(r), efficiencyInterval(r), r.Interval)
	}
	t.flush()
	for _, r := range s.BySize {
		for _, text := range []string{r.Why, r.Note} {
			if text != "" {
				fmt.Fprintln(a.Stdout, wrap(r.Label+": "+text, 98, "  "))
			}
		}
	}
}

func efficiencyText(r efficiency.Row) string {
	switch {
	case r.AtLeast != nil:
		return "at least " + efficiency.PercentText(*r.AtLeast)
	case r.Efficiency != nil:
		return efficiency.PercentText(*r.Efficiency)
	}
	return string(r.State)
}

func efficiencyInterval(r efficiency.Row) string {
	if r.EfficiencyLow == nil {
		return "–"
	}
	if r.EfficiencyHigh == nil {
		return "from " + efficiency.PercentText(*r.EfficiencyLow)
	}
	return efficiency.PercentText(*r.EfficiencyLow) + " to " + efficiency.PercentText(*r.EfficiencyHigh)
}

func printFractions(a *app, s efficiency.SetupEfficiency) {
	var untold []string
	for _, f := range s.Fractions {
		if f.Efficiency == nil {
			untold = append(untold, f.Name+": "+f.Why)
			continue
		}
		text := fmt.Sprintf("%s (ISO 16890 style, %s dust; not a test to the standard): %s %%, rounded down %s", f.Name, f.Dust, efficiency.PercentText(*f.Efficiency), f.RoundedDown)
		if f.Lower != nil {
			text += "; from the bins' lower limits " + efficiency.PercentText(*f.Lower) + " %"
		}
		if f.Why != "" {
			text += "; " + f.Why
		}
		fmt.Fprintln(a.Stdout, wrap(text, 98, "  "))
	}
	if len(untold) > 0 {
		fmt.Fprintln(a.Stdout, wrap("ISO 16890 style figures cannot be told: "+strings.Join(untold, "; "), 98, "  "))
	}
}

func printLoading(a *app, l *efficiency.Loading) {
	if l == nil || len(l.Runs) < 2 {
		return
	}
	fmt.Fprintf(a.Stdout, "\n  Loading, by %s:\n", l.Label)
	t := newTable(a.Stdout, "  DATE", "TASK", "USED BEFORE h", "min", "PASSES %", "FED mg", "PASSED mg")
	for _, r := range l.Runs {
		t.row("  "+r.Date, r.Task, fmt.Sprintf("%.2f", r.HoursBefore), fmt.Sprintf("%.0f", r.Minutes), number(r.Penetration, "%.3g"), number(r.FedMg, "%.3g"), number(r.PassedMg, "%.3g"))
	}
	t.flush()
	text := "penetration per 10 h of run time: cannot tell"
	if l.ChangePer10h != nil {
		text = fmt.Sprintf("penetration per 10 h of run time: %+.0f %%, 95 %% interval %+.0f to %+.0f %%", *l.ChangePer10h, *l.ChangeLow, *l.ChangeHigh)
	}
	if !l.Why.IsZero() {
		text += "; " + l.Why.String()
	}
	fmt.Fprintln(a.Stdout, wrap(text, 98, "  "))
}
