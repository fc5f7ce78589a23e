package cli

import (
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

func newPlotWeek(a *app) *cobra.Command {
	var o plotOptions
	cmd := &cobra.Command{
		Use: "week", Short: "Days by hours: every mean over 15 minutes against the limit", Args: noArgs,
		Long: `Days as rows, hours as columns: every mean over 15 minutes as a bar. Without --from
the last seven days with readings.`,
		Example: "  dustlog plot week -o week.svg\n  dustlog plot week --from 2026-03-02 --to 2026-03-13 --sensor bench -o weeks.pdf",
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlotWeek(cmd, a, o) },
	}
	o.addOut(cmd, "week.svg")
	o.addMetric(cmd)
	o.addSensor(cmd)
	o.win.add(cmd)
	return cmd
}

func runPlotWeek(cmd *cobra.Command, a *app, o plotOptions) error {
	metric, err := parseMass(cmd, o.metric)
	if err != nil {
		return err
	}
	return a.drawing(cmd, o, func(in plotInput) (picture, error) {
		sensor, err := in.study.Compared(o.sensor)
		if err != nil {
			return picture{}, err
		}
		w := in.window
		if w.From.IsZero() {
			if _, last, ok, err := in.span(sensor); err != nil {
				return picture{}, err
			} else if ok {
				y, m, d := last.In(in.cfg.Shop.Zone).Date()
				w.From = time.Date(y, m, d-6, 0, 0, 0, 0, in.cfg.Shop.Zone)
			}
		}
		q, err := in.study.Quarters(in.ctx, sensor.Name, metric, w)
		if err != nil {
			return picture{}, err
		}
		d := weekData(q, in.study.Limit())
		return picture{
			paint: func(w io.Writer, o plots.Options) error { return plots.Week(w, d, o) },
			csv:   func(w io.Writer, o plots.Options) error { return plots.CSVWeek(w, d, o) },
			alt:   func(o plots.Options) string { return plots.AltTextWeek(d, o) },
		}, nil
	})
}

func weekData(q study.Quarters, limit exposure.Limit) plots.WeekData {
	return plots.WeekData{Sensor: q.Sensor, Channel: q.Channel, From: q.From, To: q.To, Means: q.Means,
		LimitMgM3: limit.MgM3, LimitLabel: words.Of("limit %s", limit.ID), LimitAveraging: string(limit.Averaging)}
}

// span is the time from a sensor's first reading to its last; ok is false if it has
// none.
func (in plotInput) span(sensor dust.Sensor) (first, last time.Time, ok bool, err error) {
	spans, err := in.records.Span(in.ctx)
	if err != nil {
		return first, last, false, err
	}
	for _, s := range spans {
		if s.Sensor == sensor.Name && s.Count > 0 {
			return s.First, s.Last, true, nil
		}
	}
	return first, last, false, nil
}

func newPlotMonths(a *app) *cobra.Command {
	var o plotOptions
	var sensors []string
	cmd := &cobra.Command{
		Use: "months", Short: "Weeks or months of several sensors, every peak and every gap kept", Args: noArgs,
		Example: "  dustlog plot months -o months.svg\n  dustlog plot months --from 2026-03-01 --to 2026-05-31 --sensor bench --sensor outlet -o spring.png",
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlotMonths(cmd, a, o, sensors) },
	}
	o.addOut(cmd, "months.svg")
	o.addMetric(cmd)
	o.win.add(cmd)
	cmd.Flags().StringArrayVar(&sensors, "sensor", nil, "sensor; repeat it for several (default: all)")
	return cmd
}

func runPlotMonths(cmd *cobra.Command, a *app, o plotOptions, names []string) error {
	metric, err := dust.ParseMetric(o.metric)
	if err != nil {
		return usage(cmd, err)
	}
	return a.drawing(cmd, o, func(in plotInput) (picture, error) {
		sensors := in.study.Sensors()
		if len(names) > 0 {
			sensors = nil
			for _, name := range names {
				sensor, err := in.study.Sensor(name)
				if err != nil {
					return picture{}, err
				}
				sensors = append(sensors, sensor)
			}
		}
		envelopes, err := in.envelopes(sensors, metric)
		if err != nil {
			return picture{}, err
		}
		return picture{
			paint: func(w io.Writer, o plots.Options) error { return plots.Months(w, envelopes, o) },
			csv:   func(w io.Writer, o plots.Options) error { return plots.CSVMonths(w, envelopes, o) },
			alt:   func(o plots.Options) string { return plots.AltTextMonths(envelopes, o) },
		}, nil
	})
}

// envelopes gathers the sensors' readings day by day, over one stretch of time.
func (in plotInput) envelopes(sensors []dust.Sensor, metric dust.Channel) ([]*plots.Envelope, error) {
	w, err := in.bounded(sensors)
	if err != nil {
		return nil, err
	}
	var out []*plots.Envelope
	for _, sensor := range sensors {
		e := plots.NewEnvelope(sensor, metric, w.From, w.To)
		for columns, err := range in.study.Days(in.ctx, sensor, metric, w) {
			if err != nil {
				return nil, err
			}
			if err := e.Add(columns); err != nil {
				return nil, err
			}
		}
		out = append(out, e)
	}
	return out, nil
}

// bounded closes open ends of the window with the first and last reading.
func (in plotInput) bounded(sensors []dust.Sensor) (study.Window, error) {
	w := in.window
	var firsts, lasts []time.Time
	for _, sensor := range sensors {
		first, last, ok, err := in.span(sensor)
		if err != nil {
			return w, err
		}
		if ok {
			firsts, lasts = append(firsts, first), append(lasts, last.Add(time.Second))
		}
	}
	if len(firsts) == 0 {
		return w, fmt.Errorf("draw months: %w", dust.ErrNoReadings)
	}
	if w.From.IsZero() {
		w.From = slices.MinFunc(firsts, time.Time.Compare)
	}
	if w.To.IsZero() {
		w.To = slices.MaxFunc(lasts, time.Time.Compare)
	}
	if !w.To.After(w.From) {
		return w, fmt.Errorf("draw months from %s: %w", w.From.Format(time.RFC3339), dust.ErrNoReadings)
	}
	return w, nil
}
