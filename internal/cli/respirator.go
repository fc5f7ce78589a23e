package cli

import (
	"errors"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/respirator"
	"dustlog/internal/study"
)

type respiratorOptions struct {
	win            windowFlags
	task, material string
	limit, also    string
	at             string
}

func newRespirator(a *app) *cobra.Command {
	var o respiratorOptions
	cmd := &cobra.Command{
		Use:   "respirator",
		Short: "Is the respirator still needed: for a task, now, and for how long after",
		Long: `Whether the respirator is still needed: now, from the last hours' readings and the
diary; for each task and material, from its past runs against every limit chosen;
and for how many minutes after work, from how dust left the air before. With the
classes of respirators that cover the ratio to the limit, from published tables,
and what another hour of the task would add to the day.

The answer is "keep it on", "not shown to be needed" or "cannot tell", which counts
as keep it on. dustlog collect gives the same answer live, and can switch a lamp:
see docs/respirator.md.

` + cautionShort,
		Example: `  dustlog respirator
  dustlog respirator --task planing --material oak
  dustlog respirator --also uk-soft,us-niosh-rel --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runRespirator(cmd, a, o) },
	}
	o.win.add(cmd)
	f := cmd.Flags()
	f.StringVar(&o.task, "task", "", "answer for this task, whether or not it is running")
	f.StringVar(&o.material, "material", "", "and this material (with --task)")
	f.StringVar(&o.limit, "limit", "", "id of the exposure limit (dustlog limits lists them)")
	f.StringVar(&o.also, "also", "", "ids of more limits, with commas between them")
	f.StringVar(&o.at, "at", "", "answer as of this moment (default now): "+whenHelp)
	a.addJSON(cmd)
	_ = cmd.RegisterFlagCompletionFunc("limit", completeLimits)
	return cmd
}

func runRespirator(cmd *cobra.Command, a *app, o respiratorOptions) error {
	o.task = strings.TrimSpace(o.task)
	if o.material != "" && o.task == "" {
		return usage(cmd, errors.New("--material needs --task"))
	}
	return a.inStudy(cmd, map[string]string{"shop.limit": o.limit, "shop.also_limits": o.also}, o.win, func(s *study.Study, cfg config.Config, w study.Window) error {
		q := study.RespiratorQuestion{Window: w, Task: o.task, Material: o.material, Sleeps: sleeps(cfg),
			// The store is behind by up to one commit.
			Rules: respirator.Rules{Stale: cfg.Respirator.StaleAfter + cfg.CommitEvery, Settle: cfg.Respirator.Settle}}
		var err error
		if q.Now, err = parseWhen(o.at, a.Now(), cfg.Shop.Zone); err != nil {
			return usage(cmd, err)
		}
		if q.Window.To.IsZero() {
			q.Window.To = q.Now.Add(time.Millisecond)
		}
		answer, err := s.Respirator(cmd.Context(), q)
		if err != nil {
			return err
		}
		if cfg.Origin("shop.limit") == "default" {
			answer.Warnings = append(answer.Warnings, noLimitChosen(cfg))
		}
		if a.json {
			return writeJSON(a.Stdout, answer)
		}
		printRespirator(a, answer, cfg.Shop.Zone)
		return nil
	})
}
