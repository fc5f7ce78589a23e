package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
)

func newTask(a *app) *cobra.Command {
	return group("task", "Say what is being done, so that dust can be told by task",
		newTaskStart(a), newTaskStop(a), newTaskAdd(a), newTaskList(a))
}

func newTaskStart(a *app) *cobra.Command {
	var t dust.Task
	var at string
	cmd := &cobra.Command{
		Use:   "start TASK",
		Short: "Start a task",
		Example: `  dustlog task start sanding --material oak
  dustlog task start ripping --at "20m ago"`,
		Args: exactArgs("TASK"),
		RunE: func(cmd *cobra.Command, args []string) error {
			t.Name = strings.TrimSpace(args[0])
			return a.diary(cmd, at, func(ctx context.Context, d diary, when time.Time, zone *time.Location) error {
				t.Start = when
				started, err := d.StartTask(ctx, t)
				if err != nil {
					return err
				}
				a.remark("%s started at %s", started.Name, started.Start.In(zone).Format("15:04"))
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&t.Material, "material", "", "what is being worked")
	cmd.Flags().StringVar(&t.Person, "person", "", "who works (optional)")
	cmd.Flags().StringVar(&at, "at", "", "when it started: "+whenHelp)
	return cmd
}

func newTaskStop(a *app) *cobra.Command {
	var person, at string
	cmd := &cobra.Command{
		Use:   "stop",
		Short: "Stop the running task",
		Example: `  dustlog task stop
  dustlog task stop --at 15:40`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.diaryIn(cmd, at, a.editable, func(ctx context.Context, d diary, when time.Time, zone *time.Location) error {
				t, err := d.StopTask(ctx, person, when)
				if err != nil {
					return err
				}
				a.remark("%s stopped at %s after %s", t.Name, t.Stop.In(zone).Format("15:04"), t.Stop.Sub(t.Start).Round(time.Minute))
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&person, "person", "", "whose task")
	cmd.Flags().StringVar(&at, "at", "", "when it stopped: "+whenHelp)
	return cmd
}

func newTaskAdd(a *app) *cobra.Command {
	var t dust.Task
	var from, to string
	cmd := &cobra.Command{
		Use:   "add TASK --from WHEN --to WHEN",
		Short: "Enter a task that is over already",
		Example: `  dustlog task add sanding --from 09:00 --to 09:40 --material oak
  dustlog task add sweeping --from "2026-03-02 15:40" --to "2026-03-02 15:55"`,
		Args: exactArgs("TASK"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if from == "" || to == "" {
				return usage(cmd, errors.New("--from and --to are needed"))
			}
			return a.diary(cmd, to, func(ctx context.Context, d diary, when time.Time, zone *time.Location) error {
				start, err := parseWhen(from, a.Now(), zone)
				if err != nil {
					return usage(cmd, fmt.Errorf("--from: %w", err))
				}
				t.Name, t.Start, t.Stop = strings.TrimSpace(args[0]), start, when
				added, err := d.AddTask(ctx, t)
				if err != nil {
					return err
				}
				a.remark("%s from %s to %s", added.Name, added.Start.In(zone).Format("2006-01-02 15:04"), added.Stop.In(zone).Format("15:04"))
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&t.Material, "material", "", "what was worked")
	cmd.Flags().StringVar(&t.Person, "person", "", "who worked (optional)")
	cmd.Flags().StringVar(&from, "from", "", "when it started: "+whenHelp)
	cmd.Flags().StringVar(&to, "to", "", "when it stopped")
	return cmd
}

// taskJSON is a task as printed by --json.
type taskJSON struct {
	ID       int64      `json:"id"`
	Task     string     `json:"task"`
	Material string     `json:"material"`
	Person   string     `json:"person"`
	Start    time.Time  `json:"start"`
	Stop     *time.Time `json:"stop"`
}

func newTaskList(a *app) *cobra.Command {
	var win windowFlags
	cmd := &cobra.Command{
		Use: "list", Short: "List the tasks", Example: "  dustlog task list --from 2026-03-02\n  dustlog task list --json", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runTaskList(a, cmd, win) },
	}
	win.add(cmd)
	a.addJSON(cmd)
	return cmd
}

func runTaskList(a *app, cmd *cobra.Command, win windowFlags) error {
	return a.inRecords(cmd, win, func(records records, cfg config.Config, w study.Window) error {
		tasks, err := records.Tasks(cmd.Context(), w.From, w.To)
		if err != nil {
			return err
		}
		if a.json {
			out := []taskJSON{}
			for _, t := range tasks {
				j := taskJSON{ID: t.ID, Task: t.Name, Material: t.Material, Person: t.Person, Start: t.Start}
				if !t.Running() {
					j.Stop = &t.Stop
				}
				out = append(out, j)
			}
			return writeJSON(a.Stdout, map[string]any{"schema": 1, "tasks": out})
		}
		list := newTable(a.Stdout, "DATE", "START", "STOP", "TASK", "MATERIAL", "PERSON")
		for _, t := range tasks {
			start, stop := t.Start.In(cfg.Shop.Zone), "running"
			if !t.Running() {
				stop = t.Stop.In(cfg.Shop.Zone).Format("15:04")
			}
			list.row(start.Format(time.DateOnly), start.Format("15:04"), stop, t.Name, t.Material, t.Person)
		}
		list.flush()
		return nil
	})
}

func newSetup(a *app) *cobra.Command {
	return group("setup", "Name the state of the dust collection, so that changes can be compared",
		newSetupUse(a), newSetupList(a))
}

func newSetupUse(a *app) *cobra.Command {
	var note, at string
	cmd := &cobra.Command{
		Use:   "use SETUP",
		Short: "From now on, the dust collection is in this state",
		Example: `  dustlog setup use "old filter" --note "pleated, 3 years old"
  dustlog setup use "new filter" --at "2026-03-09 08:00"`,
		Args: exactArgs("SETUP"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.diary(cmd, at, func(ctx context.Context, d diary, when time.Time, zone *time.Location) error {
				name := strings.TrimSpace(args[0])
				if name == "" {
					return usage(cmd, errors.New("the setup needs a name"))
				}
				periods, err := d.SetupPeriods(ctx)
				if err != nil {
					return err
				}
				if err := d.UseSetup(ctx, name, note, when); err != nil {
					return err
				}
				for _, p := range periods {
					if p.From.Equal(when) && p.Setup != name {
						a.remark("it replaces %q, which was declared for the same moment", p.Setup)
					}
				}
				a.remark("%s in use from %s", name, when.In(zone).Format("2006-01-02 15:04"))
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&note, "note", "", "what it consists of")
	cmd.Flags().StringVar(&at, "at", "", "since when: "+whenHelp)
	return cmd
}

// setupJSON is a stretch under one setup as printed by --json.
type setupJSON struct {
	Setup string     `json:"setup"`
	From  time.Time  `json:"from"`
	To    *time.Time `json:"to"`
}

func newSetupList(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use: "list", Short: "List the setups and when each was in use", Example: "  dustlog setup list\n  dustlog setup list --json", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runSetupList(a, cmd) },
	}
	a.addJSON(cmd)
	return cmd
}

func runSetupList(a *app, cmd *cobra.Command) error {
	return a.inRecords(cmd, windowFlags{}, func(records records, cfg config.Config, _ study.Window) error {
		periods, err := records.SetupPeriods(cmd.Context())
		if err != nil {
			return err
		}
		if a.json {
			out := []setupJSON{}
			for _, p := range periods {
				j := setupJSON{Setup: p.Setup, From: p.From}
				if !p.To.IsZero() {
					j.To = &p.To
				}
				out = append(out, j)
			}
			return writeJSON(a.Stdout, map[string]any{"schema": 1, "setups": out})
		}
		list := newTable(a.Stdout, "FROM", "TO", "SETUP")
		for _, p := range periods {
			to := "now"
			if !p.To.IsZero() {
				to = p.To.In(cfg.Shop.Zone).Format("2006-01-02 15:04")
			}
			list.row(p.From.In(cfg.Shop.Zone).Format("2006-01-02 15:04"), to, p.Setup)
		}
		list.flush()
		return nil
	})
}

// diary is what the diary commands write to.
type diary interface {
	StartTask(ctx context.Context, t dust.Task) (dust.Task, error)
	StopTask(ctx context.Context, person string, at time.Time) (dust.Task, error)
	AddTask(ctx context.Context, t dust.Task) (dust.Task, error)
	UseSetup(ctx context.Context, name, note string, at time.Time) error
	SetupPeriods(ctx context.Context) ([]dust.SetupPeriod, error)
}

// diary opens the store, made if it is not there, reads --at, and runs write.
func (a *app) diary(cmd *cobra.Command, at string, write diaryWrite) error {
	return a.diaryIn(cmd, at, a.writable, write)
}

type diaryWrite = func(context.Context, diary, time.Time, *time.Location) error

func (a *app) diaryIn(cmd *cobra.Command, at string, open func(context.Context, config.Config) (*sqlite.Store, error), write diaryWrite) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	when, err := parseWhen(at, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return usage(cmd, fmt.Errorf("--at: %w", err))
	}
	if when.After(a.Now().Add(time.Minute)) {
		return usage(cmd, fmt.Errorf("--at %s lies in the future", at))
	}
	records, err := open(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	return write(cmd.Context(), records, when, cfg.Shop.Zone)
}

// addJSON adds --json.
func (a *app) addJSON(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&a.json, "json", false, "print one JSON document (keys carry units; keys are only ever added)")
}
