package cli

import (
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/airflow"
	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
)

func newPlotDoses(a *app) *cobra.Command {
	var o plotOptions
	cmd := &cobra.Command{
		Use: "doses", Short: "Which task brought the dust, shift by shift", Args: noArgs,
		Example: "  dustlog plot doses -o doses.svg\n  dustlog plot doses --from 2026-03-02 --to 2026-03-06 -o doses.csv",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runPlotExposure(cmd, a, o, func(r exposure.Result) picture {
				r.Shifts = slices.DeleteFunc(slices.Clone(r.Shifts), func(s exposure.ShiftResult) bool {
					return o.sensor == "" && s.Position != dust.BreathingZone || o.sensor != "" && s.Sensor != o.sensor
				})
				return pictureOf(r, plots.TaskDose, plots.CSVTaskDose, plots.AltTextTaskDose)
			})
		},
	}
	o.addOut(cmd, "doses.svg")
	o.addMetric(cmd)
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "sensor (default: those in the breathing zone)")
	o.win.add(cmd)
	return cmd
}

func newPlotProbability(a *app) *cobra.Command {
	var o plotOptions
	var setup string
	cmd := &cobra.Command{
		Use: "probability", Short: "Shifts of one group on probability paper, with the fitted line and the tolerance limits", Args: noArgs,
		Example: "  dustlog plot probability -o days.svg\n  dustlog plot probability --sensor bench --setup \"new filter\" -o days.pdf",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runPlotExposure(cmd, a, o, func(r exposure.Result) picture {
				groups := slices.DeleteFunc(r.Groups(), func(g exposure.GroupResult) bool {
					return o.sensor != "" && g.Sensor != o.sensor || setup != "" && g.Setup != setup
				})
				return pictureOf(groups, plots.Probability, plots.CSVProbability, plots.AltTextProbability)
			})
		},
	}
	o.addOut(cmd, "probability.svg")
	o.addMetric(cmd)
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "only this sensor (default: all where someone breathes)")
	cmd.Flags().StringVar(&setup, "setup", "", "only shifts under this setup")
	_ = cmd.RegisterFlagCompletionFunc("setup", a.completeSetups)
	o.win.add(cmd)
	return cmd
}

func runPlotExposure(cmd *cobra.Command, a *app, o plotOptions, of func(exposure.Result) picture) error {
	metric, err := parseMass(cmd, o.metric)
	if err != nil {
		return err
	}
	return a.drawing(cmd, o, func(in plotInput) (picture, error) {
		result, err := exposureOf(in.ctx, in.study, in.cfg, metric, in.window)
		if err != nil {
			return picture{}, err
		}
		return of(result), nil
	})
}

func newPlotClearance(a *app) *cobra.Command {
	var o plotOptions
	c := clearanceOptions{longest: clearance.DefaultLongest}
	var all bool
	cmd := &cobra.Command{
		Use: "clearance", Short: "How the dust fell once its source was off, with the fitted curve and the minutes until a level", Args: noArgs,
		Long: `How the dust fell after a task: means over 20 s, the fitted curve, the background it
goes to, and with --level the minutes until it is there. Without --day the newest
fall that counts under each setup.`,
		Example: "  dustlog plot clearance --level \"50 ug/m3\" -o clearance.svg\n  dustlog plot clearance --day 2026-03-02 --all -o falls.pdf",
		RunE: func(cmd *cobra.Command, _ []string) error {
			c.metric, c.sensor = o.metric, o.sensor
			return runPlotClearance(cmd, a, o, c, all)
		},
	}
	o.addOut(cmd, "clearance.svg")
	o.addMetric(cmd)
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "sensor (default: the one in the room, else in the breathing zone)")
	cmd.Flags().StringVar(&o.day, "day", "", "only falls of this day")
	cmd.Flags().StringVar(&c.setup, "setup", "", "only falls under this setup")
	cmd.Flags().StringVar(&c.level, "level", "", "level to wait for with its unit, as in \"50 ug/m3\"")
	cmd.Flags().BoolVar(&all, "all", false, "draw every fall, those that tell nothing too")
	_ = cmd.RegisterFlagCompletionFunc("setup", a.completeSetups)
	return cmd
}

// mostFalls keeps a picture to what a page can hold.
const mostFalls = 12

func runPlotClearance(cmd *cobra.Command, a *app, o plotOptions, c clearanceOptions, all bool) error {
	q, err := c.question()
	if err != nil {
		return usage(cmd, err)
	}
	o.win = windowFlags{from: o.day, to: o.day}
	return a.drawing(cmd, o, func(in plotInput) (picture, error) {
		q.Window = in.window
		result, trace, err := in.study.ClearanceCurves(in.ctx, q)
		if err != nil {
			return picture{}, err
		}
		decays := result.Decays
		if !all {
			decays = newestPooled(decays)
		}
		if len(decays) == 0 {
			return picture{}, fmt.Errorf("sensor %q: no fall after a task can be told in that time (%w); see `dustlog clearance`, or draw them with --all", result.Sensor, dust.ErrNoReadings)
		}
		if n := len(decays); n > mostFalls {
			a.remark("only the newest %d of %d falls are drawn; choose a --day or a --setup", mostFalls, n)
			decays = decays[n-mostFalls:]
		}
		d := plots.ClearanceData{Result: result, Trace: trace, Falls: plots.FallsTo(result, decays), Zone: in.cfg.Shop.Zone}
		return pictureOf(d, plots.Clearance, plots.CSVClearance, plots.AltTextClearance), nil
	})
}

// newestPooled is the newest decay of each setup that counts for it, in the order of
// the setups.
func newestPooled(decays []clearance.Decay) (out []clearance.Decay) {
	for _, d := range decays {
		if !d.Pooled {
			continue
		}
		i := slices.IndexFunc(out, func(x clearance.Decay) bool { return x.Setup == d.Setup })
		if i < 0 {
			out = append(out, d)
		} else {
			out[i] = d
		}
	}
	return out
}

func newPlotBeside(a *app) *cobra.Command {
	var o plotOptions
	var id int64
	cmd := &cobra.Command{
		Use: "beside", Short: "Sensors side by side: each against the reference, with line and band", Args: noArgs,
		Example: "  dustlog plot beside -o beside.svg\n  dustlog plot beside --id 4 -o beside.png",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.drawing(cmd, o, func(in plotInput) (picture, error) {
				c, err := in.study.SideBySide(in.ctx, id)
				if err != nil {
					return picture{}, err
				}
				d := plots.SideBySideData{Collocation: c.Collocation, Means: c.Means, Zone: in.cfg.Shop.Zone}
				return pictureOf(d, plots.SideBySide, plots.CSVSideBySide, plots.AltTextSideBySide), nil
			})
		},
	}
	o.addOut(cmd, "beside.svg")
	cmd.Flags().Int64Var(&id, "id", 0, "number of the calibration (default: the newest; dustlog calibrate list shows them)")
	return cmd
}

func newPlotFactor(a *app) *cobra.Command {
	var o plotOptions
	var id int64
	cmd := &cobra.Command{
		Use: "factor", Short: "Filter samples against the sensor beside them, with the factor and its band", Args: noArgs,
		Example: "  dustlog plot factor -o factor.svg\n  dustlog plot factor --id 7 -o factor.csv",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.drawing(cmd, o, func(in plotInput) (picture, error) {
				f, err := in.study.FactorPairs(id)
				if err != nil {
					return picture{}, err
				}
				d := plots.FactorData{Fit: f.Fit, Sensor: f.Record.Sensor, Samples: f.Samples}
				return pictureOf(d, plots.FactorScatter, plots.CSVFactorScatter, plots.AltTextFactorScatter), nil
			})
		},
	}
	o.addOut(cmd, "factor.svg")
	cmd.Flags().Int64Var(&id, "id", 0, "number of the calibration (default: the newest; dustlog calibrate list shows them)")
	return cmd
}

func newPlotLoading(a *app) *cobra.Command {
	var o plotOptions
	var e efficiencyOptions
	cmd := &cobra.Command{
		Use: "loading", Short: "What comes through a filter over its hours in use", Args: noArgs,
		Example: "  dustlog plot loading -o loading.svg\n  dustlog plot loading --upstream duct --downstream outlet --setup \"new cartridge\" -o loading.png",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if _, err := e.question(a.Now(), time.UTC); err != nil {
				return usage(cmd, err)
			}
			return a.drawing(cmd, o, func(in plotInput) (picture, error) {
				q, err := e.question(a.Now(), in.cfg.Shop.Zone)
				if err != nil {
					return picture{}, usage(cmd, err)
				}
				q.Window = in.window
				r, err := in.study.Efficiency(in.ctx, q)
				if err != nil {
					return picture{}, err
				}
				return pictureOf(r, plots.Loading, plots.CSVLoading, plots.AltTextLoading), nil
			})
		},
	}
	o.addOut(cmd, "loading.svg")
	o.win.add(cmd)
	f := cmd.Flags()
	f.StringVar(&e.upstream, "upstream", "", "sensor before the filter (default: the one at position upstream)")
	f.StringVar(&e.downstream, "downstream", "", "sensor behind it (default: the one at position downstream, else exhaust)")
	f.StringVar(&e.task, "task", "", "only runs of this task")
	f.StringVar(&e.setup, "setup", "", "only runs under this setup")
	f.StringArrayVar(&e.swappedAt, "swapped-at", nil, "moment at which the sensors changed places; repeat it for each change")
	_ = cmd.RegisterFlagCompletionFunc("setup", a.completeSetups)
	return cmd
}

// newPlotCollector draws something of what was read off the dust collector.
func newPlotCollector(a *app, name, short string, paint func(io.Writer, airflow.Result, plots.Options) error, csv func(io.Writer, airflow.Result) error, alt func(airflow.Result, plots.Options) string) *cobra.Command {
	o := plotOptions{metric: "pm2_5"}
	cmd := &cobra.Command{
		Use: name, Short: short, Args: noArgs,
		Example: fmt.Sprintf("  dustlog plot %[1]s -o %[1]s.svg\n  dustlog plot %[1]s -o %[1]s.csv", name),
		RunE: func(cmd *cobra.Command, _ []string) error {
			metric, err := dust.ParseMetric(o.metric)
			if err != nil {
				return usage(cmd, err)
			}
			return a.drawing(cmd, o, func(in plotInput) (picture, error) {
				r, err := in.study.Airflow(in.ctx, metric, in.window)
				if err != nil {
					return picture{}, err
				}
				return pictureOf(r, paint, csv, alt), nil
			})
		},
	}
	o.addOut(cmd, name+".svg")
	if name == "dust-on-flow" {
		o.addMetric(cmd)
	}
	o.win.add(cmd)
	return cmd
}
