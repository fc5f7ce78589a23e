package cli

import (
	"fmt"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

type exposureOptions struct {
	win      windowFlags
	limit    string
	shift    string
	metric   string
	failOver bool
}

func newExposure(a *app) *cobra.Command {
	var o exposureOptions
	cmd := &cobra.Command{
		Use:   "exposure",
		Short: "Each shift's time-weighted averages against a limit",
		Long: `Each shift's 8-hour time-weighted average (TWA) and highest 15-minute mean, for
every sensor, against an exposure limit. The finding is "over", "under" or
"cannot tell", each with its reason: a sensor that sees only fine dust cannot
show that an inhalable-dust limit is met.

` + cautionShort,
		Example: `  dustlog exposure --limit uk-hard --from 2026-03-02 --to 2026-03-06
  dustlog exposure --json --fail-over`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runExposure(cmd, a, o) },
	}
	o.win.add(cmd)
	cmd.Flags().StringVar(&o.limit, "limit", "", "id of the exposure limit (see `dustlog limits`)")
	cmd.Flags().StringVar(&o.shift, "shift", "", "working hours, as in 08:00-16:30 (default: from the configuration, else from first to last reading of each day)")
	cmd.Flags().StringVar(&o.metric, "metric", "pm2_5", "mass channel: pm1, pm2_5, pm4 or pm10")
	cmd.Flags().BoolVar(&o.failOver, "fail-over", false, "exit with 4 if a finding is \"over\"")
	a.addJSON(cmd)
	_ = cmd.RegisterFlagCompletionFunc("limit", completeLimits)
	return cmd
}

func completeLimits(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	var ids []string
	for _, l := range exposure.Limits() {
		ids = append(ids, l.ID+"\t"+l.Agent)
	}
	return ids, cobra.ShellCompDirectiveNoFileComp
}

// given returns the settings that a command's own flags override.
func given(pairs map[string]string) map[string]string {
	if pairs == nil {
		return nil
	}
	for name, value := range pairs {
		if value == "" {
			delete(pairs, name)
		}
	}
	return pairs
}

func parseMass(cmd *cobra.Command, metric string) (dust.Channel, error) {
	c, err := dust.ParseMetric(metric)
	if err == nil && !c.IsMass() {
		err = fmt.Errorf("metric %q is not a mass of dust: use pm1, pm2_5, pm4 or pm10", metric)
	}
	if err != nil {
		return c, usage(cmd, err)
	}
	return c, nil
}

func runExposure(cmd *cobra.Command, a *app, o exposureOptions) error {
	metric, err := parseMass(cmd, o.metric)
	if err != nil {
		return err
	}
	flags := map[string]string{"shop.limit": o.limit, "shop.shift": o.shift}
	return a.inStudy(cmd, flags, o.win, func(s *study.Study, cfg config.Config, w study.Window) error {
		// Little is alive at a time. Collecting the rest earlier keeps a season of
		// readings below 64 MB.
		defer debug.SetGCPercent(debug.SetGCPercent(50))
		result, err := exposureOf(cmd.Context(), s, cfg, metric, w)
		if err != nil {
			return err
		}
		if a.json {
			err = writeJSON(a.Stdout, result)
		} else {
			printExposure(a, result, cfg.Shop.Zone)
		}
		if err == nil && o.failOver && anyOver(result) {
			return errOverLimit
		}
		return err
	})
}

func anyOver(r exposure.Result) bool {
	for _, s := range r.Shifts {
		if s.Finding == exposure.Over {
			return true
		}
	}
	return false
}

func printExposure(a *app, r exposure.Result, zone *time.Location) {
	fmt.Fprintf(a.Stdout, "%s against %s\n\n", metricLabel(r.Metric), r.Limit.Label())
	t := newTable(a.Stdout, "DATE", "SHIFT", "SENSOR", "POSITION", "SETUP", "MEASURED min", "TWA 8 h mg/m³", "MAX 15 min mg/m³", "SHARE OF LIMIT", "FINDING")
	for _, s := range r.Shifts {
		share := "–"
		if s.ShareOfLimit != nil {
			share = fmt.Sprintf("%.1f %%", *s.ShareOfLimit*100)
		}
		max15 := number(s.Max15min, "%.3f")
		if s.Max15minStart != nil {
			max15 += " at " + s.Max15minStart.In(zone).Format("15:04")
		}
		t.row(s.Date, s.Start.In(zone).Format("15:04")+"–"+s.End.In(zone).Format("15:04"), s.Sensor, s.Position.Label(), s.Setup,
			fmt.Sprintf("%.0f of %.0f", s.MinutesMeasured, s.Minutes), number(s.TWA8h, "%.3f"), max15, share, s.Finding)
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
	printSpread(a, r)
	for _, reason := range r.Reasons() {
		text := fmt.Sprintf("%s, %s in %d of %d shifts; on %s: %s", reason.Sensor, reason.Finding, reason.Shifts, reason.Of, reason.Date, reason.Why)
		fmt.Fprintln(a.Stdout, wrap(text, 98, "  "))
	}
	for _, warning := range r.Warnings {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
	}
	fmt.Fprintln(a.Stdout)
	printMasks(a, r)
	fmt.Fprintln(a.Stdout, cautionShort)
}

// printSpread shows how the readings themselves were spread over the time.
func printSpread(a *app, r exposure.Result) {
	fmt.Fprintln(a.Stdout, wrap("Readings by time: the air was at or below these for 50, 95 and 99 % of the measured time. "+
		"Minutes above the limit's number are no comparison with the limit, which holds for an average.", 98, ""))
	t := newTable(a.Stdout, "  DATE", "SENSOR", "50 % mg/m³", "95 % mg/m³", "99 % mg/m³", "ABOVE THE NUMBER min")
	for _, s := range r.Shifts {
		t.row("  "+s.Date, s.Sensor, number(s.P50, "%.4f"), number(s.P95, "%.4f"), number(s.P99, "%.4f"), number(s.MinutesAboveLimit, "%.1f"))
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
}

func printMasks(a *app, r exposure.Result) {
	if len(r.Masks) == 0 {
		return
	}
	fmt.Fprintln(a.Stdout, "Respirator, by task (from the breathing-zone sensor):")
	t := newTable(a.Stdout, "  TASK", "RUNS", "HIGHEST RUN MEAN mg/m³", "AT LEAST, × LIMIT", "ANSWER")
	for _, m := range r.Masks {
		t.row("  "+m.Task, m.Runs, number(m.HighestMeanMgM3, "%.3f"), number(m.HazardRatioAtLeast, "%.2f"), m.State)
	}
	t.flush()
	fmt.Fprintln(a.Stdout, wrap("\"Cannot tell\" counts as keep it on.", 98, "  "))
	fmt.Fprintln(a.Stdout)
}
