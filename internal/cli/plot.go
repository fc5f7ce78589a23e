package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

type plotOptions struct {
	out           string
	theme         string
	language      string
	width         float64 // cm
	day, sensor   string
	before, after string
	metric        string
	win           windowFlags
}

func newPlot(a *app) *cobra.Command {
	cmd := group("plot", "Draw one picture as SVG, PNG or PDF, or write its data as CSV",
		newPlotShift(a),
		newPlotWeek(a),
		newPlotMonths(a),
		newPlotDoses(a),
		newPlotCompared(a, "sessions", "Before and after, session by session", sessionsPicture),
		newPlotCompared(a, "ratio", "Change by particle size", ratioPicture),
		newPlotCompared(a, "sizes", "Dust by particle size, before and after", sizesPicture),
		newPlotClearance(a),
		newPlotProbability(a),
		newPlotBeside(a),
		newPlotFactor(a),
		newPlotLoading(a),
		newPlotCollector(a, "blower", "What the blower makes and what the ducts take, with the points measured", plots.FanAndSystem, plots.CSVFanAndSystem, plots.AltTextFanAndSystem),
		newPlotCollector(a, "filter-drop", "Pressure drop over the filter, with its trend and limit", plots.FilterDrop, plots.CSVFilterDrop, plots.AltTextFilterDrop),
		newPlotCollector(a, "dust-on-flow", "Fine dust of sessions against the flow measured beside them", plots.DustOnFlow, plots.CSVDustOnFlow, plots.AltTextDustOnFlow),
	)
	cmd.Long = `Draw one picture. The ending of --out chooses what is written: .svg, .png or .pdf for
the picture, .csv for its data, .txt for its description in words, for people who
cannot see it.`
	return cmd
}

// picture is one picture with its data and its description.
type picture struct {
	paint func(io.Writer, plots.Options) error
	csv   func(io.Writer, plots.Options) error
	alt   func(plots.Options) string
}

// plotInput is what a picture is made from.
type plotInput struct {
	ctx     context.Context
	study   *study.Study
	cfg     config.Config
	records records
	window  study.Window
}

func (o *plotOptions) addOut(cmd *cobra.Command, name string) {
	cmd.Flags().StringVarP(&o.out, "out", "o", name, "file to write; its ending chooses what: .svg, .png, .pdf, .csv or .txt")
	cmd.Flags().StringVar(&o.theme, "theme", string(plots.Light), "light, for screens and paper, or dark")
	cmd.Flags().Float64Var(&o.width, "width", 17, "width in cm, 7 to 200; 9 suits a telephone")
	cmd.Flags().StringVar(&o.language, "lang", "", "language of what is written in it, "+strings.Join(words.Languages(), " or ")+" (default en)")
}

func (o *plotOptions) addMetric(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.metric, "metric", "pm2_5", "what is drawn")
}

func (o *plotOptions) addSensor(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.sensor, "sensor", "", "sensor (default: the one in the breathing zone, else in the room)")
}

// drawing opens the study, lets make find the picture, and saves it whole.
func (a *app) drawing(cmd *cobra.Command, o plotOptions, make func(in plotInput) (picture, error)) error {
	ending := strings.ToLower(strings.TrimPrefix(filepath.Ext(o.out), "."))
	options := plots.Options{Theme: plots.Theme(o.theme), Width: vg.Length(o.width) * vg.Centimeter}
	if ending != "csv" && ending != "txt" {
		var err error
		if options.Format, err = plots.ParseFormat(ending); err != nil {
			return usage(cmd, fmt.Errorf("--out %s: %w, csv for the data, txt for a description", o.out, err))
		}
	}
	cfg, err := a.load(given(map[string]string{"shop.language": o.language}))
	if err != nil {
		return err
	}
	options.Zone = cfg.Shop.Zone
	if options.Words, err = words.In(cfg.Shop.Language); err != nil {
		return err
	}
	in := plotInput{ctx: cmd.Context(), cfg: cfg}
	if in.window, err = o.win.window(cmd, a.Now(), cfg.Shop.Zone); err != nil {
		return err
	}
	if in.study, in.records, err = a.openStudy(cmd.Context(), cfg); err != nil {
		return err
	}
	defer in.records.Close()
	p, err := make(in)
	if err != nil {
		return err
	}
	var content bytes.Buffer
	switch ending {
	case "csv":
		err = p.csv(&content, options)
	case "txt":
		// Painting says what is wrong where there is nothing to describe.
		if err = p.paint(io.Discard, options); err == nil {
			fmt.Fprintln(&content, p.alt(options))
		}
	default:
		err = p.paint(&content, options)
	}
	if err != nil {
		return err
	}
	return a.savePicture(o.out, content.Bytes())
}

func (a *app) savePicture(path string, content []byte) error {
	if err := writeWhole(path, content); err != nil {
		return err
	}
	a.remark("written to %s", path)
	return nil
}

func newPlotShift(a *app) *cobra.Command {
	var o plotOptions
	cmd := &cobra.Command{
		Use: "shift", Short: "A shift's trace with tasks, 15-minute mean and limit", Args: noArgs,
		Example: "  dustlog plot shift --day 2026-03-02 -o shift.svg\n  dustlog plot shift --sensor outlet -o outlet.png",
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlotShift(cmd, a, o) },
	}
	o.addOut(cmd, "shift.svg")
	o.addMetric(cmd)
	o.addSensor(cmd)
	cmd.Flags().StringVar(&o.day, "day", "", "date of the shift (default: the newest)")
	return cmd
}

func runPlotShift(cmd *cobra.Command, a *app, o plotOptions) error {
	metric, err := parseMass(cmd, o.metric)
	if err != nil {
		return err
	}
	o.win = windowFlags{from: o.day, to: o.day}
	return a.drawing(cmd, o, func(in plotInput) (picture, error) {
		result, err := exposureOf(in.ctx, in.study, in.cfg, metric, in.window)
		if err != nil {
			return picture{}, err
		}
		shift, err := chooseShift(in.study, result, o.sensor)
		if err != nil {
			return picture{}, err
		}
		trace, err := in.study.Trace(in.ctx, shift, metric)
		if err != nil {
			return picture{}, err
		}
		d := traceData(trace, result.Limit)
		return picture{
			paint: func(w io.Writer, o plots.Options) error { return plots.ShiftTrace(w, d, o) },
			csv:   func(w io.Writer, o plots.Options) error { return plots.CSVShiftTrace(w, d, o) },
			alt:   func(o plots.Options) string { return plots.AltTextShiftTrace(d, o) },
		}, nil
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

func newPlotCompared(a *app, use, short string, of comparedPicture) *cobra.Command {
	var o plotOptions
	cmd := &cobra.Command{
		Use: use, Short: short, Args: noArgs,
		Example: fmt.Sprintf("  dustlog plot %s --before \"old filter\" --after \"new filter\" -o %s.svg\n  dustlog plot %s --before A --after B -o %s.csv", use, use, use, use),
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlotCompared(cmd, a, o, of) },
	}
	o.addOut(cmd, use+".svg")
	o.addMetric(cmd)
	o.addSensor(cmd)
	cmd.Flags().StringVar(&o.before, "before", "", "setup before the change")
	cmd.Flags().StringVar(&o.after, "after", "", "setup after the change")
	o.win.add(cmd)
	return cmd
}

func runPlotCompared(cmd *cobra.Command, a *app, o plotOptions, of comparedPicture) error {
	if o.before == "" || o.after == "" {
		return usage(cmd, errors.New("--before and --after are needed; see the setups with `dustlog setup list`"))
	}
	metric, err := dust.ParseMetric(o.metric)
	if err != nil {
		return usage(cmd, err)
	}
	return a.drawing(cmd, o, func(in plotInput) (picture, error) {
		result, err := in.study.Compare(in.ctx, study.Question{Before: o.before, After: o.after, Metric: metric, Sensor: o.sensor, Window: in.window})
		if err != nil {
			return picture{}, err
		}
		return of(result), nil
	})
}
