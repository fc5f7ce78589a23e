package cli

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dustlog/internal/compare"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/study"
)

type compareOptions struct {
	before, after string
	setups        []string
	metric        string
	sensor        string
	smallest      string
	driftPercent  float64
	driftDF       float64
	level         string
	window        string
	planSeed      uint64
	win           windowFlags
}

func newCompare(a *app) *cobra.Command {
	var o compareOptions
	cmd := &cobra.Command{
		Use:   "compare [--before SETUP --after SETUP | --setups A,B,C]",
		Short: "Did a change of the dust collection really reduce fine dust?",
		Long: `Compare setups by sessions: an unbroken spell of work under one setup on one
day is one observation, however many seconds it has. The answer is the ratio
after/before with its confidence interval, and a verdict in words.

Without names all setups of the diary are compared, each against the first that
was used. docs/comparing.md explains the method, the words and how to plan.`,
		Example: `  dustlog compare --before "old filter" --after "new filter"
  dustlog compare --setups "drop box,cyclone,cyclone and filter"
  dustlog compare --before A --after B --metric pm10 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.check(); err != nil {
				return usage(cmd, err)
			}
			return runCompare(cmd, a, o)
		},
	}
	o.addSetups(a, cmd)
	cmd.Flags().Float64Var(&o.driftPercent, "drift-percent", 0, "how far the sensor may have drifted in the study, standard uncertainty in percent; widens the interval (default: what the calibration record says)")
	cmd.Flags().Float64Var(&o.driftDF, "drift-df", compare.DefaultDriftDF, "degrees of freedom of --drift-percent")
	cmd.Flags().StringVar(&o.level, "level", "", "also compare the share of task time above this level, as in \"50 ug/m3\"; without a unit it is in the metric's")
	cmd.Flags().StringVar(&o.window, "clearance-window", "", "read clearance rates off between two fixed levels, as in 1000,100, and not above the background")
	cmd.Flags().Uint64Var(&o.planSeed, "plan-seed", 0, "seed of the plan that the sessions followed (dustlog plan prints it)")
	a.addJSON(cmd)
	return cmd
}

// addSetups adds the flags that say what is compared.
func (o *compareOptions) addSetups(a *app, cmd *cobra.Command) {
	if cmd.Name() == "compare" {
		cmd.Flags().StringVar(&o.before, "before", "", "setup before the change")
		cmd.Flags().StringVar(&o.after, "after", "", "setup after the change")
		_ = cmd.RegisterFlagCompletionFunc("before", a.completeSetups)
		_ = cmd.RegisterFlagCompletionFunc("after", a.completeSetups)
	}
	cmd.Flags().StringSliceVar(&o.setups, "setups", nil, "setups, the present one first: each of the others is held against it (default all, in the order of first use)")
	cmd.Flags().StringVar(&o.metric, "metric", "pm2_5", "what is compared: pm1, pm2_5, pm4, pm10 or a count")
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "sensor (default: the one in the breathing zone, else in the room)")
	cmd.Flags().StringVar(&o.smallest, "smallest-change", "", "smallest reduction that matters, in percent (default 30)")
	o.win.add(cmd)
	_ = cmd.RegisterFlagCompletionFunc("setups", a.completeSetups)
}

func (o *compareOptions) check() error {
	switch {
	case (o.before == "") != (o.after == ""):
		return errors.New("--before and --after are needed together; see the setups with `dustlog setup list`")
	case o.before != "" && len(o.setups) > 0:
		return errors.New("give --before and --after, or --setups, not both")
	case o.before != "" && o.before == o.after:
		return fmt.Errorf("--before and --after are both %q", o.before)
	case len(o.setups) == 1:
		return fmt.Errorf("--setups names %q only: a comparison needs two or more", o.setups[0])
	case !(o.driftPercent >= 0) || math.IsInf(o.driftPercent, 1):
		return fmt.Errorf("--drift-percent %g: give a number of percent, 0 or more", o.driftPercent)
	case !(o.driftDF > 0):
		return fmt.Errorf("--drift-df %g: must be above zero", o.driftDF)
	}
	return nil
}

// parseLevel reads a level of the metric, with its unit or in the metric's own; "" is 0.
func parseLevel(text string, metric dust.Channel) (float64, error) {
	if text == "" {
		return 0, nil
	}
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil && metric.IsMass() {
		var c dust.Concentration
		if c, err = dust.ParseConcentration(text); err == nil {
			x = float64(c)
		}
	}
	if err != nil || !(x > 0) || math.IsInf(x, 1) {
		return 0, fmt.Errorf("--level %q: give a level of %s above zero, as in \"50 ug/m3\" or, in the metric's own unit, 50", text, metric.Metric())
	}
	return x, nil
}

// question turns the options into what the study is asked.
func (o *compareOptions) question(s *study.Study, w study.Window) (study.Question, error) {
	q := study.Question{
		Before: o.before, After: o.after, Setups: o.setups, Sensor: o.sensor, Window: w,
		DriftU: math.Log1p(o.driftPercent / 100), DriftDF: o.driftDF, PlanSeed: o.planSeed, Airflow: true,
	}
	var err error
	if q.Metric, err = dust.ParseMetric(o.metric); err != nil {
		return q, err
	}
	if q.Level, err = parseLevel(o.level, q.Metric); err != nil {
		return q, err
	}
	if q.ClearanceWindow, err = parseClearanceWindow(o.window); err != nil {
		return q, err
	}
	if q.Before == "" && len(q.Setups) == 0 {
		if q.Setups = s.SetupsInOrder(); len(q.Setups) < 2 {
			return q, fmt.Errorf("the diary holds %d setup(s), a comparison needs two: note a change with `dustlog setup use`", len(q.Setups))
		}
	}
	return q, nil
}

func parseClearanceWindow(text string) (w compare.ClearanceWindow, err error) {
	if text == "" {
		return w, nil
	}
	high, low, ok := strings.Cut(text, ",")
	if ok {
		w.High, err = strconv.ParseFloat(strings.TrimSpace(high), 64)
		if err == nil {
			w.Low, err = strconv.ParseFloat(strings.TrimSpace(low), 64)
		}
	}
	if !ok || err != nil {
		return w, fmt.Errorf("--clearance-window %q: give two levels, the higher first, as in 1000,100", text)
	}
	return w, nil
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
	flags := map[string]string{"shop.smallest_change_percent": o.smallest}
	return a.inStudy(cmd, flags, o.win, func(s *study.Study, _ config.Config, w study.Window) error {
		q, err := o.question(s, w)
		if err != nil {
			return usage(cmd, err)
		}
		result, err := s.Compare(cmd.Context(), q)
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

func metricLabel(metric string) string {
	if c, err := dust.ParseMetric(metric); err == nil {
		return c.Label()
	}
	return metric
}
