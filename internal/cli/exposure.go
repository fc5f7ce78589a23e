package cli

import (
	"errors"
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

type exposureOptions struct {
	win        windowFlags
	limit      string
	also       string
	shift      string
	longShifts string
	metric     string
	by         string
	csv        bool
	failOver   bool
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

With --also, more limits are judged beside the first; the wood in the diary says
which of them bear. --by puts runs together by task or material, or shifts by
position; --by group treats the shifts of one sensor under one setup as days of
one exposure group and asks what they say about other days.

` + cautionShort,
		Example: `  dustlog exposure --limit uk-hard --from 2026-03-02 --to 2026-03-06
  dustlog exposure --also uk-soft,us-niosh-rel --by task
  dustlog exposure --by group --limit de-aswg-a
  dustlog exposure --json --fail-over`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runExposure(cmd, a, o) },
	}
	o.win.add(cmd)
	cmd.Flags().StringVar(&o.limit, "limit", "", "id of the exposure limit (dustlog limits lists them)")
	cmd.Flags().StringVar(&o.also, "also", "", "ids of more limits, with commas between them")
	cmd.Flags().StringVar(&o.by, "by", string(exposure.ByShift), "shift, task, material, position or group")
	cmd.Flags().BoolVar(&o.csv, "csv", false, "print comma-separated values, units in the column names")
	cmd.Flags().StringVar(&o.longShifts, "long-shifts", "", "lower 8-h limits in longer shifts and weeks: none or brief_scala")
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

// exposureAnswer is what `dustlog exposure` prints, in every form.
type exposureAnswer struct {
	exposure.Result
	By     exposure.Grouping      `json:"by"`
	Totals []exposure.Total       `json:"totals,omitempty"`
	Groups []exposure.GroupResult `json:"groups,omitempty"`
}

func runExposure(cmd *cobra.Command, a *app, o exposureOptions) error {
	metric, err := parseMass(cmd, o.metric)
	if err != nil {
		return err
	}
	by, err := exposure.ParseGrouping(o.by)
	if err != nil {
		return usage(cmd, err)
	}
	if o.csv && a.json {
		return usage(cmd, errors.New("--csv and --json are two forms of one answer: give one of them"))
	}
	flags := map[string]string{"shop.limit": o.limit, "shop.also_limits": o.also, "shop.shift": o.shift, "shop.long_shifts": o.longShifts}
	return a.inStudy(cmd, flags, o.win, func(s *study.Study, cfg config.Config, w study.Window) error {
		// Little is alive at a time. Collecting the rest earlier keeps a season of
		// readings below 64 MB.
		defer debug.SetGCPercent(debug.SetGCPercent(20))
		result, err := exposureOf(cmd.Context(), s, cfg, metric, w)
		if err != nil {
			return err
		}
		answer := exposureAnswer{Result: result, By: by, Totals: result.Totals(by)}
		if by == exposure.ByGroup {
			answer.Groups = result.Groups()
		}
		switch {
		case a.json:
			err = writeJSON(a.Stdout, answer)
		case o.csv:
			err = writeExposureCSV(a.Stdout, answer)
		default:
			printExposure(a, answer, cfg.Shop.Zone)
		}
		if err == nil && o.failOver && anyOver(result) {
			return errOverLimit
		}
		return err
	})
}

// anyOver also looks at the limits judged beside the first, where they bear.
func anyOver(r exposure.Result) bool {
	for _, s := range r.Shifts {
		for i, l := range s.Limits {
			if l.Finding == exposure.Over && (i == 0 || l.Bearing != exposure.DoesNotApply) {
				return true
			}
		}
	}
	return false
}
