package cli

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/compare"
	"dustlog/internal/compare/plan"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/study"
)

type planOptions struct {
	compareOptions
	after     bool
	reduction float64
	sessions  int
	spread    float64
	paired    bool
	seed      uint64
	start     string
}

func newPlan(a *app) *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan --setups PRESENT,NEW",
		Short: "Plan a before/after study, or ask how many more sessions would settle one",
		Long: `Say how many sessions each setup needs for the reduction you hope for, and in
which order to hold them: drawn at random, each setup once in every block, so that
drift, season and wood fall on all alike. The list is for the wall.

The spread to plan with is that of the sessions already recorded under the present
setup, or the usual one. With --after the recorded comparison is asked instead how
many more sessions would settle it.`,
		Example: `  dustlog plan --setups "drop box,cyclone" --reduction 50 --start 2026-03-02
  dustlog plan --setups A,B --paired --sessions 6
  dustlog plan --after`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.check(); err != nil {
				return usage(cmd, err)
			}
			if o.after {
				return runPlanAfter(cmd, a, o)
			}
			return runPlan(cmd, a, o)
		},
	}
	cmd.Flags().BoolVar(&o.after, "after", false, "ask the recorded comparison how many more sessions would settle it")
	cmd.Flags().Float64Var(&o.reduction, "reduction", 50, "reduction hoped for, in percent")
	cmd.Flags().IntVar(&o.sessions, "sessions", 0, "sessions per setup, with --paired days (default: as many as the reduction takes)")
	cmd.Flags().Float64Var(&o.spread, "sd", 0, "spread of sessions to plan with, in ln units (default: measured, else 0.5)")
	cmd.Flags().BoolVar(&o.paired, "paired", false, "every setup on every day, else one setup a day")
	cmd.Flags().Uint64Var(&o.seed, "seed", 0, "seed of the order (default: drawn, and printed)")
	cmd.Flags().StringVar(&o.start, "start", "", "first day, as in 2026-03-02; without it the days have numbers only")
	o.addSetups(a, cmd)
	a.addJSON(cmd)
	return cmd
}

func (o *planOptions) check() error {
	if o.after {
		if len(o.setups) == 1 {
			return fmt.Errorf("--setups names %q only: a comparison needs two", o.setups[0])
		}
		return nil
	}
	if len(o.setups) < 2 {
		return errors.New("--setups is needed: the present setup and what it is to be compared with, as in --setups \"drop box,cyclone\"")
	}
	return nil
}

func runPlan(cmd *cobra.Command, a *app, o planOptions) error {
	q := plan.Question{
		Setups: o.setups, ReductionPercent: o.reduction, Paired: o.paired, Sessions: o.sessions, SD: o.spread, Seed: o.seed,
	}
	if q.Seed == 0 {
		q.Seed = 1 + uint64(a.Now().UnixMicro())%9999 // short, for the wall
	}
	var err error
	if o.start != "" {
		if q.First, err = time.Parse(time.DateOnly, o.start); err != nil {
			return usage(cmd, fmt.Errorf("--start %q: write a day as in 2026-03-02", o.start))
		}
	}
	if q.SD == 0 {
		if q.Measured, err = measuredSpread(cmd, a, o); err != nil {
			return err
		}
	}
	p, err := plan.Before(q)
	if err != nil {
		return usage(cmd, err)
	}
	if a.json {
		return writeJSON(a.Stdout, p)
	}
	return printPlan(a, p)
}

// measuredSpread is the spread of the sessions already recorded under the present
// setup; nil if there are too few, no such setup or no store yet.
func measuredSpread(cmd *cobra.Command, a *app, o planOptions) (*compare.Spread, error) {
	var found *compare.Spread
	err := a.inStudy(cmd, nil, o.win, func(s *study.Study, _ config.Config, w study.Window) error {
		q, err := o.question(s, w)
		if err != nil {
			return usage(cmd, err)
		}
		q.Before = o.setups[0]
		spread, err := s.Spread(cmd.Context(), q)
		if err == nil {
			found = &spread
		}
		return err
	})
	for _, nothingYet := range []error{compare.ErrTooFew, dust.ErrUnknownSetup, dust.ErrUnknownSensor, dust.ErrNoReadings, dust.ErrNoStore} {
		if errors.Is(err, nothingYet) {
			return nil, nil
		}
	}
	return found, err
}

func printPlan(a *app, p plan.Plan) error {
	fmt.Fprintf(a.Stdout, "To show a true reduction of %.0f %% four times out of five: %s.\n", p.Reduction, planSize(p))
	fmt.Fprintf(a.Stdout, "Spread planned with: %.2f in ln units (%s).\n\n", p.SD, p.SDFrom)
	t := newTable(a.Stdout, "  true reduction, %", perSetup(p), "working days")
	for _, x := range p.Takes {
		t.row(fmt.Sprintf("  %.0f", x.ReductionPercent), x.Sessions, x.Days)
	}
	t.flush()
	if p.WeekPercent < 99 {
		fmt.Fprintf(a.Stdout, "  One working week shows %.0f %% or more, nothing smaller.\n", p.WeekPercent)
	} else {
		fmt.Fprintln(a.Stdout, "  One working week is too short for any reduction.")
	}
	fmt.Fprintln(a.Stdout)
	for _, n := range p.Notes {
		fmt.Fprintln(a.Stdout, wrap("Note: "+n, 98, "  "))
	}
	fmt.Fprintf(a.Stdout, "\n  Afterwards: dustlog compare --plan-seed %d --setups %q\n\n", p.Seed, strings.Join(p.Setups, ","))
	return plan.WriteChecklist(a.Stdout, p)
}

func perSetup(p plan.Plan) string {
	if p.Paired {
		return "days with every setup"
	}
	return "sessions per setup"
}

func planSize(p plan.Plan) string {
	if p.Paired {
		return fmt.Sprintf("%d days with every setup on each", p.Needed)
	}
	return fmt.Sprintf("%d sessions under each of %d setups, %d working days", p.Needed, len(p.Setups), p.Needed*len(p.Setups))
}

func runPlanAfter(cmd *cobra.Command, a *app, o planOptions) error {
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
		var answers []plan.After
		if len(result.Setups) == 0 {
			answers = append(answers, plan.Settle(result))
		}
		for _, x := range result.Setups {
			answers = append(answers, plan.Settle(x.Result))
		}
		if a.json {
			return writeJSON(a.Stdout, plan.Answers{Schema: 1, Answers: answers})
		}
		for _, x := range answers {
			fmt.Fprintf(a.Stdout, "%s → %s: %s so far\n", x.Before, x.After, x.Verdict)
			fmt.Fprintln(a.Stdout, wrap(x.Answer, 98, "  "))
		}
		fmt.Fprintln(a.Stdout, wrap("Note: "+answers[0].Looks, 98, "  "))
		return nil
	})
}
