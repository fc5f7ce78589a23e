package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/study"
)

type plotOptions struct {
	out           string
	day, sensor   string
	before, after string
	metric        string
}

func newPlot(a *app) *cobra.Command {
	return group("plot", "Draw one picture as SVG, PNG or PDF",
		newPlotShift(a),
		newPlotCompared(a, "sessions", "Before and after, session by session", plots.BeforeAfter),
		newPlotCompared(a, "ratio", "Change by particle size", plots.SizeRatio),
		newPlotCompared(a, "sizes", "Dust by particle size, before and after", plots.SizeDistribution),
	)
}

func (o *plotOptions) addOut(cmd *cobra.Command, name string) {
	cmd.Flags().StringVarP(&o.out, "out", "o", name, "file to write; its ending chooses the format: .svg, .png or .pdf")
	cmd.Flags().StringVar(&o.metric, "metric", "pm2_5", "what is drawn")
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "sensor (default: the one in the breathing zone, else in the room)")
}

func newPlotShift(a *app) *cobra.Command {
	var o plotOptions
	cmd := &cobra.Command{
		Use: "shift", Short: "A shift's trace with tasks, 15-minute mean and limit", Args: noArgs,
		Example: "  dustlog plot shift --day 2026-03-02 -o shift.svg\n  dustlog plot shift --sensor outlet -o outlet.png",
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlotShift(cmd, a, o) },
	}
	o.addOut(cmd, "shift.svg")
	cmd.Flags().StringVar(&o.day, "day", "", "date of the shift (default: the newest)")
	return cmd
}

func runPlotShift(cmd *cobra.Command, a *app, o plotOptions) error {
	metric, err := parseMass(cmd, o.metric)
	if err != nil {
		return err
	}
	win := windowFlags{from: o.day, to: o.day}
	return a.drawing(cmd, o, win, func(w io.Writer, s *study.Study, cfg config.Config, options plots.Options, win study.Window) error {
		result, err := exposureOf(cmd.Context(), s, cfg, metric, win)
		if err != nil {
			return err
		}
		shift, err := chooseShift(s, result, o.sensor)
		if err != nil {
			return err
		}
		trace, err := s.Trace(cmd.Context(), shift, metric)
		if err != nil {
			return err
		}
		return plots.ShiftTrace(w, traceData(trace, result.Limit), options)
	})
}

// chooseShift takes the newest shift of the sensor asked for.
func chooseShift(s *study.Study, r exposure.Result, name string) (exposure.ShiftResult, error) {
	sensor, err := s.Compared(name)
	if err != nil {
		return exposure.ShiftResult{}, err
	}
	for i := len(r.Shifts) - 1; i >= 0; i-- {
		if r.Shifts[i].Sensor == sensor.Name && r.Shifts[i].MinutesMeasured > 0 {
			return r.Shifts[i], nil
		}
	}
	return exposure.ShiftResult{}, fmt.Errorf("sensor %q: %w on that day", sensor.Name, dust.ErrNoReadings)
}

func newPlotCompared(a *app, use, short string, paint comparePainter) *cobra.Command {
	var o plotOptions
	cmd := &cobra.Command{
		Use: use, Short: short, Args: noArgs,
		Example: fmt.Sprintf("  dustlog plot %s --before \"old filter\" --after \"new filter\" -o %s.svg\n  dustlog plot %s --before A --after B -o %s.png", use, use, use, use),
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlotCompared(cmd, a, o, paint) },
	}
	o.addOut(cmd, use+".svg")
	cmd.Flags().StringVar(&o.before, "before", "", "setup before the change")
	cmd.Flags().StringVar(&o.after, "after", "", "setup after the change")
	return cmd
}

func runPlotCompared(cmd *cobra.Command, a *app, o plotOptions, paint comparePainter) error {
	if o.before == "" || o.after == "" {
		return usage(cmd, errors.New("--before and --after are needed; see the setups with `dustlog setup list`"))
	}
	metric, err := dust.ParseMetric(o.metric)
	if err != nil {
		return usage(cmd, err)
	}
	return a.drawing(cmd, o, windowFlags{}, func(w io.Writer, s *study.Study, _ config.Config, options plots.Options, _ study.Window) error {
		result, err := s.Compare(cmd.Context(), study.Question{Before: o.before, After: o.after, Metric: metric, Sensor: o.sensor})
		if err != nil {
			return err
		}
		return paint(w, result, options)
	})
}

// drawing opens the study, lets paint draw, and saves the picture whole.
func (a *app) drawing(cmd *cobra.Command, o plotOptions, win windowFlags, paint func(io.Writer, *study.Study, config.Config, plots.Options, study.Window) error) error {
	format, err := plots.ParseFormat(strings.TrimPrefix(filepath.Ext(o.out), "."))
	if err != nil {
		return usage(cmd, fmt.Errorf("--out %s: %w", o.out, err))
	}
	return a.inStudy(cmd, nil, win, func(s *study.Study, cfg config.Config, w study.Window) error {
		var picture bytes.Buffer
		if err := paint(&picture, s, cfg, plots.Options{Format: format, Zone: cfg.Shop.Zone}, w); err != nil {
			return err
		}
		return a.savePicture(o.out, picture.Bytes())
	})
}

func (a *app) savePicture(path string, picture []byte) error {
	if err := writeWhole(path, picture); err != nil {
		return err
	}
	a.remark("picture written to %s", path)
	return nil
}
