package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

func newExplain(a *app) *cobra.Command {
	var win windowFlags
	var limit, shift, metric string
	cmd := &cobra.Command{
		Use:   "explain [RESULT]",
		Short: "Where a number comes from: formula, inputs, source, readings",
		Long: `Print the formula, the inputs, the source and the readings behind one number of
` + "`dustlog exposure`" + `, so that it can be worked out again by hand. A result is named by
date, sensor and number; without one, all are listed.`,
		Example: "  dustlog explain\n  dustlog explain 2026-03-02/bench/twa_8h",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			channel, err := parseMass(cmd, metric)
			if err != nil {
				return err
			}
			return a.inStudy(cmd, map[string]string{"shop.limit": limit, "shop.shift": shift}, win, func(s *study.Study, cfg config.Config, w study.Window) error {
				result, err := exposureOf(cmd.Context(), s, cfg, channel, w)
				if err != nil {
					return err
				}
				if len(args) == 0 {
					return listExplanations(a, result)
				}
				e, err := result.Explain(args[0])
				if err != nil {
					return err
				}
				if a.json {
					return writeJSON(a.Stdout, e)
				}
				printExplanation(a, e, cfg)
				return nil
			})
		},
	}
	win.add(cmd)
	cmd.Flags().StringVar(&limit, "limit", "", "id of the exposure limit (see `dustlog limits`)")
	cmd.Flags().StringVar(&shift, "shift", "", "working hours, as in 08:00-16:30")
	cmd.Flags().StringVar(&metric, "metric", "pm2_5", "mass channel: pm1, pm2_5, pm4 or pm10")
	a.addJSON(cmd)
	return cmd
}

func listExplanations(a *app, r exposure.Result) error {
	all := r.Explanations()
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
	fmt.Fprintf(a.Stdout, "  Readings: %s of %s, from %s to %s (%s)\n", e.Metric, e.Sensor, e.From.In(cfg.Shop.Zone).Format(clock), e.To.In(cfg.Shop.Zone).Format(clock), cfg.Shop.Zone)
	if e.LeftOut != "" {
		fmt.Fprintf(a.Stdout, "  Left out: %s\n", e.LeftOut)
	}
	fmt.Fprintf(a.Stdout, "  To see them: dustlog export -o - --sensor %q --from %s --to %s\n", e.Sensor, e.From.UTC().Format("2006-01-02T15:04:05Z"), e.To.UTC().Format("2006-01-02T15:04:05Z"))
}
