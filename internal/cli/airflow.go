package cli

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
)

func newAirflow(a *app) *cobra.Command {
	var win windowFlags
	var metric string
	cmd := &cobra.Command{
		Use:   "airflow",
		Short: "What the dust collector moves: flow, pressure, filter and motor, beside the dust",
		Long: `What the dust collector moves, from what gauges on it show: flow and whether it
carries dust through the ducts, velocity in front of the hood, static pressure
against the fan curve, how the filter loads and when it is full, the motor's
current against its plate, air changes against the clearance measured, fine dust
against flow, and which change would help most. Enter readings with
` + "`dustlog airflow add`" + `; describe the collector under [collector."SETUP"] in the
configuration. docs/airflow.md tells how to measure, and the sources.

It gives no electrical advice and no assessment of dust explosions: ask an
electrician, follow local code.

` + cautionShort,
		Example: `  dustlog airflow
  dustlog airflow points --diameter "6 in"
  dustlog airflow add velocity-pressure 0.52 0.61 0.66 0.63 0.58 0.44 in. w.g. --duct main
  dustlog airflow --from 2026-03-02 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runAirflow(cmd, a, win, metric) },
	}
	win.add(cmd)
	cmd.Flags().StringVar(&metric, "metric", "pm2_5", "fine dust that is held against the flow: pm1, pm2_5 or a count")
	a.addJSON(cmd)
	cmd.AddCommand(newAirflowAdd(a), newAirflowList(a), newAirflowUndo(a), newAirflowPoints(a))
	return cmd
}

func runAirflow(cmd *cobra.Command, a *app, win windowFlags, metric string) error {
	channel, err := dust.ParseMetric(metric)
	if err != nil {
		return usage(cmd, fmt.Errorf("--metric: %w", err))
	}
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	w, err := win.window(cmd, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return err
	}
	settings, err := studySettings(cfg) // before the store: the record may be wrong
	if err != nil {
		return err
	}
	records, err := a.records(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	result, err := study.Airflow(cmd.Context(), records, settings, channel, w)
	if err != nil {
		return err
	}
	if a.json {
		return writeJSON(a.Stdout, result)
	}
	printAirflow(a, result, cfg.Shop.Zone)
	return nil
}

type airflowAddOptions struct {
	duct, at, senml string
}

func newAirflowAdd(a *app) *cobra.Command {
	var o airflowAddOptions
	kinds := ""
	for _, k := range airflow.GaugeKinds {
		kinds += fmt.Sprintf("  %-21s %s, as in %s\n", k.Kind, k.Meaning, k.Write)
	}
	cmd := &cobra.Command{
		Use:   "add KIND FIGURES",
		Short: "Enter a reading off the dust collector in the diary",
		Long: `Enter a reading off the dust collector in the diary. Kinds:

` + kinds + `
Figures carry their unit; of a traverse give all points and the unit once. Put --
before a figure that begins with a minus sign.

--senml takes lines of SenML (RFC 8428) from a file, or from standard input with
"-": names are the kinds with "_" for "-", a duct and "/" before them if need be,
as in main/velocity_pressure; units m/s, Pa, m3/s and A. Lines that were taken
before are not entered again.`,
		Example: `  dustlog airflow add velocity-pressure 0.52 0.61 0.66 0.63 0.58 0.44 in. w.g. --duct main
  dustlog airflow add static-pressure -- -4.2 in. w.g.
  dustlog airflow add filter-drop 450 Pa --at "20m ago"
  dustlog airflow add current 7.4 A
  dustlog airflow add --senml gauges.txt`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.senml != "" {
				return runAirflowSenML(cmd, a, o, args)
			}
			return runAirflowAdd(cmd, a, o, args)
		},
	}
	cmd.Flags().StringVar(&o.duct, "duct", "", "which duct, of a current which blower, by its name in the configuration, if there are several")
	cmd.Flags().StringVar(&o.at, "at", "", "when it was read: "+whenHelp)
	cmd.Flags().StringVar(&o.senml, "senml", "", "file of SenML lines, or - for standard input, in place of KIND and FIGURES")
	cmd.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return usage(cmd, fmt.Errorf("%w; put -- before a figure below zero", err))
	})
	return cmd
}

func runAirflowAdd(cmd *cobra.Command, a *app, o airflowAddOptions, args []string) error {
	if len(args) < 2 {
		return usage(cmd, errors.New("want KIND FIGURES, as in: filter-drop 450 Pa"))
	}
	kind, figures := airflow.GaugeKind(args[0]), strings.Join(args[1:], " ")
	if _, err := airflow.GaugeEntry("new", time.Unix(1, 0), kind, o.duct, figures); err != nil {
		return usage(cmd, err)
	}
	return a.entering(cmd, o.at, func(ctx context.Context, s *sqlite.Store, when time.Time, zone *time.Location) error {
		e, err := airflow.GaugeEntry(rand.Text(), when, kind, o.duct, figures)
		if err != nil {
			return err
		}
		kept, err := s.Enter(ctx, e)
		if err != nil {
			return err
		}
		g, err := airflow.GaugeOf(kept.Entry)
		if err != nil {
			return err
		}
		a.remark("%s at %s", g, g.At.In(zone).Format("2006-01-02 15:04"))
		return nil
	})
}

// entering opens the store for writing, made if it is not there, and reads --at.
func (a *app) entering(cmd *cobra.Command, at string, enter func(context.Context, *sqlite.Store, time.Time, *time.Location) error) error {
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
	s, err := a.writable(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer s.Close()
	return enter(cmd.Context(), s, when, cfg.Shop.Zone)
}

// gaugeJSON is a reading as printed by list --json.
type gaugeJSON struct {
	ID     string        `json:"id"`
	At     time.Time     `json:"at"`
	Kind   string        `json:"kind"`
	Text   string        `json:"figures"`
	Gauge  airflow.Gauge `json:"reading"`
	Why    string        `json:"why_not_read"` // "" if it can be read
	Undone *time.Time    `json:"taken_back"`
}

func newAirflowList(a *app) *cobra.Command {
	var win windowFlags
	cmd := &cobra.Command{
		Use: "list", Short: "List the readings off the dust collector", Example: "  dustlog airflow list\n  dustlog airflow list --json", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runAirflowList(cmd, a, win) },
	}
	win.add(cmd)
	a.addJSON(cmd)
	return cmd
}

func runAirflowList(cmd *cobra.Command, a *app, win windowFlags) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	w, err := win.window(cmd, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return err
	}
	s, err := a.readable(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer s.Close()
	entries, err := s.Entries(cmd.Context(), w.From, w.To)
	if err != nil {
		return err
	}
	list := []gaugeJSON{}
	for _, e := range entries {
		if e.Kind != dust.GaugeEntry {
			continue
		}
		row := gaugeJSON{ID: e.ID, At: e.At, Kind: e.Name, Text: e.Text}
		if row.Gauge, err = airflow.GaugeOf(e.Entry); err != nil {
			row.Why = err.Error()
		}
		if !e.Stands() {
			row.Undone = &e.Undone
		}
		list = append(list, row)
	}
	if a.json {
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "readings": list})
	}
	t := newTable(a.Stdout, "DATE", "TIME", "READING", "ID", "")
	for _, row := range list {
		words, note := row.Gauge.String(), row.Why
		if row.Why != "" {
			words = row.Kind + " " + row.Text
		}
		if row.Undone != nil {
			note = "taken back"
		}
		at := row.At.In(cfg.Shop.Zone)
		t.row(at.Format(time.DateOnly), at.Format("15:04"), words, row.ID, note)
	}
	t.flush()
	return nil
}

func newAirflowUndo(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "undo ID", Short: "Take a reading off the dust collector back", Example: "  dustlog airflow undo 7X4K…",
		Args: exactArgs("ID"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.entering(cmd, "", func(ctx context.Context, s *sqlite.Store, when time.Time, _ *time.Location) error {
				entries, err := s.Entries(ctx, time.Time{}, time.Time{})
				if err != nil {
					return err
				}
				for _, e := range entries {
					if e.ID == args[0] && e.Kind == dust.GaugeEntry {
						_, err := s.Enter(ctx, dust.Entry{ID: rand.Text(), Kind: dust.UndoEntry, At: when, Undoes: e.ID})
						if err == nil {
							a.remark("taken back: %s %s", e.Name, e.Text)
						}
						return err
					}
				}
				return usage(cmd, fmt.Errorf("there is no reading %q off the collector; see `dustlog airflow list`", args[0]))
			})
		},
	}
}
