package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"dustlog/internal/compare"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/study"
)

type compareOptions struct {
	before, after string
	metric        string
	sensor        string
	smallest      string
	win           windowFlags
}

func newCompare(a *app) *cobra.Command {
	var o compareOptions
	cmd := &cobra.Command{
		Use:   "compare --before SETUP --after SETUP",
		Short: "Did a change of the dust collection really reduce fine dust?",
		Long: `Compare two setups by sessions: an unbroken spell of work under one setup on one
day is one observation, however many seconds it has. The answer is the ratio
after/before with its confidence interval, and a verdict in words.`,
		Example: `  dustlog compare --before "old filter" --after "new filter"
  dustlog compare --before A --after B --metric pm10 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.before == "" || o.after == "" {
				return usage(cmd, errors.New("--before and --after are needed; see the setups with `dustlog setup list`"))
			}
			if o.before == o.after {
				return usage(cmd, fmt.Errorf("--before and --after are both %q", o.before))
			}
			return runCompare(cmd, a, o)
		},
	}
	cmd.Flags().StringVar(&o.before, "before", "", "setup before the change")
	cmd.Flags().StringVar(&o.after, "after", "", "setup after the change")
	cmd.Flags().StringVar(&o.metric, "metric", "pm2_5", "what is compared: pm1, pm2_5, pm4, pm10 or a count")
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "sensor (default: the one in the breathing zone, else in the room)")
	cmd.Flags().StringVar(&o.smallest, "smallest-change", "", "smallest reduction that matters, in percent (default 30)")
	o.win.add(cmd)
	a.addJSON(cmd)
	for _, name := range []string{"before", "after"} {
		_ = cmd.RegisterFlagCompletionFunc(name, a.completeSetups)
	}
	return cmd
}

func (a *app) completeSetups(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
	cfg, err := a.load(nil)
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	records, err := a.records(cmd.Context(), cfg)
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	defer records.Close()
	setups, err := records.Setups(cmd.Context())
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	var names []string
	for _, s := range setups {
		names = append(names, s.Name)
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

func runCompare(cmd *cobra.Command, a *app, o compareOptions) error {
	metric, err := dust.ParseMetric(o.metric)
	if err != nil {
		return usage(cmd, err)
	}
	flags := map[string]string{"shop.smallest_change_percent": o.smallest}
	return a.inStudy(cmd, flags, o.win, func(s *study.Study, _ config.Config, w study.Window) error {
		result, err := s.Compare(cmd.Context(), study.Question{Before: o.before, After: o.after, Metric: metric, Sensor: o.sensor, Window: w})
		if err != nil {
			return err
		}
		if a.json {
			return writeJSON(a.Stdout, result)
		}
		printCompare(a, result)
		return nil
	})
}

func printCompare(a *app, r compare.Result) {
	fmt.Fprintf(a.Stdout, "%s, %s → %s: %s\n\n", metricLabel(r.Metric), r.Before, r.After, r.Verdict)
	fmt.Fprintln(a.Stdout, wrap(r.Why, 98, "  "))
	if r.Caution != "" {
		fmt.Fprintln(a.Stdout, wrap("But: "+r.Caution, 98, "  "))
	}
	fmt.Fprintln(a.Stdout)
	t := newTable(a.Stdout, "  "+r.UnitOfReplication+"s", fmt.Sprintf("%s: %d", r.Before, r.NBefore), fmt.Sprintf("%s: %d", r.After, r.NAfter))
	t.row("  "+r.MeanKind+", "+r.Unit, number(r.GMBefore, "%.3g"), number(r.GMAfter, "%.3g"))
	t.row("  ratio after/before", number(r.Ratio, "%.2f"), fmt.Sprintf("%.0f %% interval %s to %s", r.Confidence*100, number(r.CILow, "%.2f"), number(r.CIHigh, "%.2f")))
	t.row("  change", number(r.ChangePercent, "%+.0f %%"), fmt.Sprintf("smallest that matters: %.0f %%", r.SmallestChange))
	t.row("  p", number(r.PValue, "%.3g"), "by relabelling sessions: "+number(r.PermutationP, "%.3g"))
	t.row("  design grade", r.Design, r.DesignWhy)
	t.flush()
	fmt.Fprintln(a.Stdout)
	if r.Fine != nil {
		fmt.Fprintln(a.Stdout, wrap("Fine or only chips? "+r.Fine.Answer+". "+r.Fine.Why, 98, "  "))
		fmt.Fprintln(a.Stdout)
	}
	for _, e := range r.Excluded {
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Left out: %s %s: %s", e.What, e.Name, e.Why), 98, "  "))
	}
	for _, warning := range r.Warnings {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
	}
	fmt.Fprintln(a.Stdout, wrap("Method: "+r.Method, 98, "  "))
}

func metricLabel(metric string) string {
	if c, err := dust.ParseMetric(metric); err == nil {
		return c.Label()
	}
	return metric
}
