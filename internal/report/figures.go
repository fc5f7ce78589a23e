package report

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"
	"slices"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/words"
)

// pictureOptions says how the report's pictures are drawn.
func (in Input) pictureOptions() plots.Options {
	return plots.Options{Format: plots.SVG, Zone: in.Zone, Words: in.Words}
}

// draw paints a picture in both widths.
func draw(f figure, o plots.Options, paint func(io.Writer, plots.Options) error) (figure, error) {
	f.paint = paint
	var wide, narrow bytes.Buffer
	err := paint(&wide, o)
	if err == nil {
		o.Width = plots.Narrow
		err = paint(&narrow, o)
	}
	if err != nil {
		return f, fmt.Errorf("figure %q: %w", f.Title, err)
	}
	// Our own drawings; text in them is escaped by the SVG writer.
	f.Wide, f.Narrow = template.HTML(wide.String()), template.HTML(narrow.String())
	return f, nil
}

// evidence are the figures behind the answers.
func evidence(in Input) ([]figure, error) {
	var wanted []func() (figure, error)
	if r := in.Compare; r != nil && len(r.Sessions) > 0 {
		wanted = append(wanted, comparison(*r, in.pictureOptions())...)
	}
	if person := breathingZone(in.Exposure); len(person.Shifts) > 0 && len(person.Tasks) > 0 {
		wanted = append(wanted, taskDose(person, in.pictureOptions()))
	}
	for i, d := range in.Weeks {
		wanted = append(wanted, week(i, d, in.pictureOptions()))
	}
	var figures []figure
	for _, make := range wanted {
		f, err := make()
		if errors.Is(err, dust.ErrNoReadings) {
			continue // as where only one of two setups was in use in the time asked about
		}
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
		return draw(figure{ID: "sessions", Title: words.Of("Before and after, session by session"), Alt: plots.AltTextBeforeAfter(r, o),
			Caption: words.Of("Each point is one %s: the task-adjusted mean of %s in %s above background, sensor “%s” (%s). The bar is the geometric mean.",
				r.UnitText(), metricLabel(r.Metric), r.Unit, r.Sensor, placeText(r.Position))}, o,
			func(w io.Writer, o plots.Options) error { return plots.BeforeAfter(w, r, o) })
	}}
	if len(r.Bins) > 0 {
		figures = append(figures, func() (figure, error) {
			return draw(figure{ID: "ratio-by-size", Title: words.Of("Change by particle size"), Alt: plots.AltTextSizeRatio(r, o),
				Caption: words.Of("Ratio after/before for each size the sensor reports, with its 95 %% interval; left of 1 is less dust. Sizes that the sensor extrapolates are indicative.")}, o,
				func(w io.Writer, o plots.Options) error { return plots.SizeRatio(w, r, o) })
		}, func() (figure, error) {
			return draw(figure{ID: "size-distribution", Title: words.Of("Dust by particle size, before and after"), Alt: plots.AltTextSizeDistribution(r, o),
				Caption: words.Of("Mean of the sessions for each size. The background was subtracted where its sensor sends that size; where it was not, the two levels hold it too.")}, o,
				func(w io.Writer, o plots.Options) error { return plots.SizeDistribution(w, r, o) })
		})
	}
	return figures
}

func taskDose(r exposure.Result, o plots.Options) func() (figure, error) {
	return func() (figure, error) {
		return draw(figure{ID: "task-dose", Title: words.Of("Which task brings the dust"), Alt: plots.AltTextTaskDose(r, o),
			Caption: words.Of("Share of each day's measured dose (concentration × time) by task, breathing zone.")}, o,
			func(w io.Writer, o plots.Options) error { return plots.TaskDose(w, r, o) })
	}
}

func week(i int, d plots.WeekData, o plots.Options) func() (figure, error) {
	return func() (figure, error) {
		return draw(figure{ID: fmt.Sprintf("week-%d", i+1), Title: words.Of("Days and hours at %s", d.Sensor.Name), Alt: plots.AltTextWeek(d, o),
			Caption: words.Of("Every bar is a mean over fifteen minutes of the clock; all rows have one scale.")}, o,
			func(w io.Writer, o plots.Options) error { return plots.Week(w, d, o) })
	}
}

// days are the shifts of each group on probability paper, where there are enough for
// a line.
func days(in Input, groups []exposure.GroupResult) ([]figure, error) {
	drawn := slices.DeleteFunc(slices.Clone(groups), func(g exposure.GroupResult) bool { return len(g.Plot) < 3 })
	if len(drawn) == 0 {
		return nil, nil
	}
	f, err := draw(figure{ID: "days-as-group", Title: words.Of("Shifts and what other days may bring"), Alt: plots.AltTextProbability(drawn, in.pictureOptions()),
		Caption: words.Of("Each mark is a shift. The steeper the line, the more the days differ.")}, in.pictureOptions(),
		func(w io.Writer, o plots.Options) error { return plots.Probability(w, drawn, o) })
	return []figure{f}, err
}

// traceTitle names the shift that is shown.
func traceTitle(d plots.TraceData) words.Text {
	if d.Shift.Setup == "" {
		return words.Of("Shift of %s", words.Day(d.Shift.Date))
	}
	return words.Of("Shift of %s, %s", words.Day(d.Shift.Date), d.Shift.Setup)
}

// traces are the shifts shown minute by minute.
func traces(in Input) ([]figure, error) {
	var figures []figure
	for i, d := range in.Traces {
		f, err := draw(figure{ID: fmt.Sprintf("trace-%d", i+1), Title: traceTitle(d), Alt: plots.AltTextShiftTrace(d, in.pictureOptions()),
			Caption: words.Of("%s, sensor “%s” (%s), one reading about every second; heavy line: mean of the 15 minutes before. Gaps are gaps.",
				exposure.ChannelText(d.Series.Channel), d.Shift.Sensor, exposure.PositionText(d.Shift.Position))}, in.pictureOptions(),
			func(w io.Writer, o plots.Options) error { return plots.ShiftTrace(w, d, o) })
		if err != nil {
			return nil, err
		}
		figures = append(figures, f)
	}
	return figures, nil
}

// breathed reports whether a run was measured where a person breathes.
func breathed(t exposure.TaskResult) bool { return t.Position == dust.BreathingZone }
