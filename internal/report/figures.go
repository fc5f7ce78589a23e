package report

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"slices"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
)

func draw(f figure, paint func(io.Writer) error) (figure, error) {
	var svg bytes.Buffer
	if err := paint(&svg); err != nil {
		return f, fmt.Errorf("figure %q: %w", f.Title, err)
	}
	f.SVG = template.HTML(svg.String()) // our own drawing; text in it is escaped by the SVG writer
	return f, nil
}

// evidence are the figures behind the answers.
func evidence(in Input) ([]figure, error) {
	o := plots.Options{Format: plots.SVG, Zone: in.Zone}
	var wanted []func() (figure, error)
	if r := in.Compare; r != nil && len(r.Sessions) > 0 {
		wanted = append(wanted, comparison(*r, o)...)
	}
	if person := breathingZone(in.Exposure); len(person.Shifts) > 0 && len(person.Tasks) > 0 {
		wanted = append(wanted, taskDose(person, o))
	}
	var figures []figure
	for _, make := range wanted {
		f, err := make()
		if err != nil {
			return nil, err
		}
		figures = append(figures, f)
	}
	return figures, nil
}

// breathingZone leaves only what was measured where a person breathes.
func breathingZone(r exposure.Result) exposure.Result {
	r.Shifts = slices.DeleteFunc(slices.Clone(r.Shifts), func(s exposure.ShiftResult) bool { return s.Position != dust.BreathingZone })
	r.Tasks = slices.DeleteFunc(slices.Clone(r.Tasks), func(t exposure.TaskResult) bool { return t.Position != dust.BreathingZone })
	return r
}

func comparison(r compare.Result, o plots.Options) []func() (figure, error) {
	figures := []func() (figure, error){func() (figure, error) {
		return draw(figure{ID: "sessions", Title: "Before and after, session by session", Alt: plots.AltTextBeforeAfter(r),
			Caption: fmt.Sprintf("Each point is one %s: the task-adjusted mean of %s in %s above background, sensor “%s” (%s). The bar is the geometric mean.",
				r.UnitOfReplication, metricLabel(r.Metric), r.Unit, r.Sensor, spaced(r.Position))},
			func(w io.Writer) error { return plots.BeforeAfter(w, r, o) })
	}}
	if len(r.Bins) > 0 {
		figures = append(figures, func() (figure, error) {
			return draw(figure{ID: "ratio-by-size", Title: "Change by particle size", Alt: plots.AltTextSizeRatio(r),
				Caption: "Ratio after/before for each size the sensor reports, with its 95 % interval; left of 1 is less dust. Sizes that the sensor extrapolates are indicative."},
				func(w io.Writer) error { return plots.SizeRatio(w, r, o) })
		}, func() (figure, error) {
			return draw(figure{ID: "size-distribution", Title: "Dust by particle size, before and after", Alt: plots.AltTextSizeDistribution(r),
				Caption: "Geometric mean of the sessions for each size, above background."},
				func(w io.Writer) error { return plots.SizeDistribution(w, r, o) })
		})
	}
	return figures
}

func taskDose(r exposure.Result, o plots.Options) func() (figure, error) {
	return func() (figure, error) {
		return draw(figure{ID: "task-dose", Title: "Which task brings the dust", Alt: plots.AltTextTaskDose(r),
			Caption: "Share of each day's measured dose (concentration × time) by task, breathing zone."},
			func(w io.Writer) error { return plots.TaskDose(w, r, o) })
	}
}

// traces are the shifts shown minute by minute.
func traces(in Input) ([]figure, error) {
	o := plots.Options{Format: plots.SVG, Zone: in.Zone}
	var figures []figure
	for i, d := range in.Traces {
		f, err := draw(figure{ID: fmt.Sprintf("trace-%d", i+1), Title: d.Title, Alt: plots.AltTextShiftTrace(d, o),
			Caption: fmt.Sprintf("%s, sensor “%s” (%s), one reading about every second; heavy line: mean of the 15 minutes before. Gaps are gaps.",
				d.Series.Channel.Label(), d.Shift.Sensor, d.Shift.Position.Label())},
			func(w io.Writer) error { return plots.ShiftTrace(w, d, o) })
		if err != nil {
			return nil, err
		}
		figures = append(figures, f)
	}
	return figures, nil
}
