package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/report"
	"dustlog/internal/study"
)

type explainOptions struct {
	win                  windowFlags
	limit, shift, metric string
	before, after        string
}

func newExplain(a *app) *cobra.Command {
	var o explainOptions
	cmd := &cobra.Command{
		Use:   "explain [RESULT]",
		Short: "Where a number comes from: formula, inputs, source, readings",
		Long: `Print the formula, the inputs, the source and the readings behind one number of
` + "`dustlog exposure`" + ` or of a report, so that it can be worked out again by hand. The
small grey IDs in a report name its numbers: the row's ID, a slash, the column's
key. Without an ID all are listed: shifts, groups of days, the comparison and its
sessions, falls of the dust, minutes to wait, and the respirator by task.`,
		Example: "  dustlog explain\n  dustlog explain 2026-03-02/bench/twa_8h\n  dustlog explain compare/ratio --before \"old filter\" --after \"new filter\"",
		Args:    cobra.MaximumNArgs(1),
		RunE:    func(cmd *cobra.Command, args []string) error { return runExplain(cmd, a, o, args) },
	}
	o.win.add(cmd)
	cmd.Flags().StringVar(&o.limit, "limit", "", "id of the exposure limit (dustlog limits lists them)")
	cmd.Flags().StringVar(&o.shift, "shift", "", "working hours, as in 08:00-16:30")
	cmd.Flags().StringVar(&o.metric, "metric", "pm2_5", "mass channel: pm1, pm2_5, pm4 or pm10; other than pm2_5 only shifts and groups are explained")
	cmd.Flags().StringVar(&o.before, "before", "", "setup before the change, as for the report")
	cmd.Flags().StringVar(&o.after, "after", "", "setup after the change")
	a.addJSON(cmd)
	_ = cmd.RegisterFlagCompletionFunc("before", a.completeSetups)
	_ = cmd.RegisterFlagCompletionFunc("after", a.completeSetups)
	return cmd
}

func runExplain(cmd *cobra.Command, a *app, o explainOptions, args []string) error {
	channel, err := parseMass(cmd, o.metric)
	if err != nil {
		return err
	}
	if (o.before == "") != (o.after == "") {
		return usage(cmd, fmt.Errorf("give both --before and --after, or neither"))
	}
	return a.inStudy(cmd, map[string]string{"shop.limit": o.limit, "shop.shift": o.shift}, o.win, func(s *study.Study, cfg config.Config, w study.Window) error {
		in, err := explained(cmd, s, cfg, channel, o, w)
		if err != nil {
			return err
		}
		all := report.Explanations(in)
		if len(args) == 0 {
			return listExplanations(a, all)
		}
		e, err := report.Explain(all, args[0])
		if err != nil {
			return err
		}
		if a.json {
			return writeJSON(a.Stdout, e)
		}
		printExplanation(a, e, cfg)
		return nil
	})
}

// explained gathers what a report of the same question shows.
func explained(cmd *cobra.Command, s *study.Study, cfg config.Config, metric dust.Channel, o explainOptions, w study.Window) (report.Input, error) {
	ctx := cmd.Context()
	in := report.Input{Zone: cfg.Shop.Zone}
	var err error
	if in.Exposure, err = exposureOf(ctx, s, cfg, metric, w); err != nil {
		return in, err
	}
	in.From, in.To = bounds(in.Exposure)
	if metric != dust.PM25 { // what a report compares
		return in, nil
	}
	if err := compareFor(ctx, s, reportOptions{before: o.before, after: o.after}, w, &in); err != nil {
		return in, err
	}
	if err := airflowFor(ctx, s, w, &in); err != nil {
		return in, err
	}
	if in.Cleared, err = s.Cleared(ctx, w); err != nil {
		return in, err
	}
	past, err := s.PastRespirator(in.Exposure, in.Cleared, in.To)
	in.Respirator = &past
	return in, err
}

func listExplanations(a *app, all []exposure.Explanation) error {
	if a.json {
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "results": all})
	}
	t := newTable(a.Stdout, "RESULT", "VALUE", "UNIT", "IS")
	for _, e := range all {
		t.row(e.ID, number(e.Value, "%.4g"), e.Unit, e.Label)
	}
	t.flush()
	return nil
}

func printExplanation(a *app, e exposure.Explanation, cfg config.Config) {
	const clock = "2006-01-02 15:04:05"
	fmt.Fprintf(a.Stdout, "%s: %s %s\n", e.Label, number(e.Value, "%.6g"), e.Unit)
	fmt.Fprintln(a.Stdout, wrap("= "+e.Formula, 98, "  "))
	t := newTable(a.Stdout, "  INPUT", "VALUE", "UNIT")
	for _, g := range e.Inputs {
		t.row("  "+g.Name, number(g.Value, "%.6g"), g.Unit)
	}
	t.flush()
	fmt.Fprintln(a.Stdout, wrap("Source: "+e.Source, 98, "  "))
	if e.Sensor == "" {
		return
	}
	fmt.Fprintf(a.Stdout, "  Readings: %s of %s, from %s to %s (%s)\n", e.Metric, e.Sensor, e.From.In(cfg.Shop.Zone).Format(clock), e.To.In(cfg.Shop.Zone).Format(clock), cfg.Shop.Zone)
	if e.LeftOut != "" {
		fmt.Fprintf(a.Stdout, "  Left out: %s\n", e.LeftOut)
	}
	fmt.Fprintf(a.Stdout, "  To see them: dustlog export -o - --sensor %q --from %s --to %s\n", e.Sensor, e.From.UTC().Format("2006-01-02T15:04:05Z"), e.To.UTC().Format("2006-01-02T15:04:05Z"))
}
