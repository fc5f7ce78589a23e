package plots

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// FanAndSystem draws the blower's pressure over its flow against what ducts, separator
// and filter take, with the points measured; one panel a setup. The error wraps
// dust.ErrNoReadings if no setup has a curve or a point.
func FanAndSystem(w io.Writer, r airflow.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	setups := withSystem(r)
	if len(setups) == 0 {
		return fmt.Errorf("draw blower and ducts: no fan curve, and no flow with a static pressure: %w", dust.ErrNoReadings)
	}
	return o.write(w, drawFanAndSystem(r, setups, o))
}

func drawFanAndSystem(r airflow.Result, setups []airflow.SetupAirflow, o Options) *figure {
	f := newFigure(o, words.Of("What the blower makes and what the ducts take"), words.Of("Static pressure, Pa, over flow, m³/h"), AltTextFanAndSystem(r, o))
	var curve, system, operating bool
	for i, s := range setups {
		if i > 0 {
			f.space(6)
		}
		f.heading(setupTitle(s.Setup), fanWords(s))
		f.plots(f.fanPanel(s))
		curve, system = curve || s.Fan != nil && len(s.Fan.Curve) > 0, system || s.System != nil
		operating = operating || s.Fan != nil && s.Fan.Operating != nil
	}
	var legend []entry
	if curve {
		legend = append(legend, entry{words.Of("blower, by its maker's points in this air"), lineSample(f.th.meanLine())})
	}
	if system {
		legend = append(legend, entry{words.Of("ducts, separator and filter: k·Q²"), lineSample(f.th.backgroundLine())}, entry{words.Of("measured"), markSample(f.th.afterMark())})
	}
	if operating {
		legend = append(legend, entry{words.Of("where they meet, the last point taken for the system"), markSample(f.th.beforeMark())})
	}
	f.footer(words.Of("Both curves hold for one state of gates and filter."), legend)
	return f
}

func withSystem(r airflow.Result) (list []airflow.SetupAirflow) {
	for _, s := range r.Setups {
		if s.System != nil || s.Fan != nil && len(s.Fan.Curve) > 0 {
			list = append(list, s)
		}
	}
	return list
}

func setupTitle(setup string) words.Text {
	if setup == "" {
		return words.Of("Setup not declared")
	}
	return words.Literal(upperFirst(clean(setup)))
}

// heading is a panel's name and a sentence.
func (f *figure) heading(name, sentence words.Text) {
	head, sty := f.th.bold(), f.th.text(f.th.ink)
	f.words(capLines(wrap(f.say(name), f.inner(), head), 2, f.inner(), head), head)
	f.words(capLines(wrap(f.say(sentence), f.inner(), sty), 3, f.inner(), sty), sty)
	f.space(6)
}

func fanWords(s airflow.SetupAirflow) words.Text {
	var parts []words.Text
	if s.Flow != nil {
		parts = append(parts, words.Of("Measured last: %s", words.Number(s.Flow.Flow.String())))
	}
	if s.Fan != nil {
		if op := s.Fan.Operating; op != nil {
			parts = append(parts, words.Of("by the curve %s at %s", words.Number(op.Flow.String()), words.Number(op.Static.String())))
		}
		parts = append(parts, s.Fan.Answer)
	} else if !s.SystemWhy.IsZero() {
		parts = append(parts, s.SystemWhy)
	}
	return words.Join("; ", parts...).Sentence()
}

func (f *figure) fanPanel(s airflow.SetupAirflow) panel {
	var points, curve, meet plotter.XYs
	at := func(q, p float64) plotter.XY { return plotter.XY{X: q, Y: p} }
	if s.System != nil {
		for _, p := range s.System.Points {
			points = append(points, at(p.Flow.M3H(), float64(p.Static)))
		}
	}
	if s.Fan != nil {
		for _, p := range s.Fan.Curve {
			curve = append(curve, at(p.Flow.M3H(), float64(p.Static)))
		}
		if op := s.Fan.Operating; op != nil {
			meet = plotter.XYs{at(op.Flow.M3H(), float64(op.Static))}
		}
	}
	mostX, mostY := 0.0, 0.0
	for _, p := range slices.Concat(points, curve, meet) {
		mostX, mostY = math.Max(mostX, p.X), math.Max(mostY, p.Y)
	}
	p := f.newPlot()
	p.Add(f.grid(true, true))
	if s.System != nil {
		k := s.System.K / (3600 * 3600) // for m³/h
		if s.Fan != nil && s.Fan.KNow > 0 {
			k = s.Fan.KNow / (3600 * 3600)
		}
		to := math.Min(mostX, math.Sqrt(mostY/k))
		var system plotter.XYs
		for i := range 41 {
			q := to * float64(i) / 40
			system = append(system, at(q, k*q*q))
		}
		p.Add(&plotter.Line{XYs: system, LineStyle: f.th.backgroundLine()})
	}
	p.Add(&plotter.Line{XYs: curve, LineStyle: f.th.meanLine()}, &plotter.Scatter{XYs: points, GlyphStyle: f.th.afterMark()}, &plotter.Scatter{XYs: meet, GlyphStyle: f.th.beforeMark()})
	f.linearAxes(p, 0, mostX, 0, mostY)
	return panel{Plot: p, data: max(leastRoom, min(130, 0.4*f.o.Width)), stretch: true, right: f.o.Words.Say("Flow, m³/h")}
}

// linearAxes covers the values given with labels that fit.
func (f *figure) linearAxes(p *plot.Plot, loX, hiX, loY, hiY float64) {
	f.o.setLinear(&p.Y, loY, hiY, 5)
	p.X.Tick.Length, p.X.Tick.Marker = 6, plot.ConstantTicks{} // or the zeros of both axes touch
	width := dataArea(p, f.inner()).Size().X
	f.o.setLinear(&p.X, loX, hiX, max(2, int(width/50)))
	p.X.Tick.Marker = fitted{p.X.Tick.Marker, width, p.X}
}

// AltTextFanAndSystem describes the picture that FanAndSystem draws.
func AltTextFanAndSystem(r airflow.Result, o Options) string {
	parts := []words.Text{words.Of("Static pressure of the blower and of the ducts over flow.")}
	for _, s := range withSystem(r) {
		parts = append(parts, words.Of("%s: %s", setupTitle(s.Setup), fanWords(s)))
	}
	return o.brief(sentences(parts...))
}

// CSVFanAndSystem writes what FanAndSystem draws.
func CSVFanAndSystem(w io.Writer, r airflow.Result) error {
	rows := [][]string{{"what", "setup", "flow_m3_h", "static_pressure_pa", "k_pa_s2_m6"}}
	for _, s := range withSystem(r) {
		row := func(what string, q, p float64) {
			rows = append(rows, []string{what, s.Setup, exact(&q), exact(&p), ""})
		}
		if s.Fan != nil {
			for _, p := range s.Fan.Curve {
				row("fan_curve", p.Flow.M3H(), float64(p.Static))
			}
			if op := s.Fan.Operating; op != nil {
				row("operating_point", op.Flow.M3H(), float64(op.Static))
			}
		}
		if s.System != nil {
			for _, p := range s.System.Points {
				row("measured", p.Flow.M3H(), float64(p.Static))
			}
			rows = append(rows, []string{"system", s.Setup, "", "", exact(&s.System.K)})
		}
	}
	return table(w, rows)
}

// FilterDrop draws the pressure drop over the filter since its last cleaning, brought
// to one flow, with its trend and the limit; one panel a setup. The error wraps
// dust.ErrNoReadings if no drop was read.
func FilterDrop(w io.Writer, r airflow.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	setups := withDrops(r)
	if len(setups) == 0 {
		return fmt.Errorf("draw the filter's pressure drop: %w of it", dust.ErrNoReadings)
	}
	return o.write(w, drawFilterDrop(r, setups, o))
}

func drawFilterDrop(r airflow.Result, setups []airflow.SetupAirflow, o Options) *figure {
	f := newFigure(o, words.Of("Pressure drop over the filter since it was cleaned"), words.Of("Pa; brought to one flow where flows were measured beside it"), AltTextFilterDrop(r, o))
	var trend, ahead, limit, loose bool
	for i, s := range setups {
		if i > 0 {
			f.space(6)
		}
		f.heading(setupTitle(s.Setup), dropWords(s.Filter, o.Zone))
		f.plots(f.dropPanel(s.Filter))
		trend, limit = trend || len(s.Filter.Trend) > 0, limit || s.Filter.Limit != nil
		ahead = ahead || !s.Filter.ReachedAt.IsZero()
		for _, x := range s.Filter.Readings {
			loose = loose || s.Filter.Reference != nil && x.AtReference == nil
		}
	}
	legend := []entry{{words.Of("a reading"), markSample(f.th.afterMark())}}
	if loose {
		legend = append(legend, entry{words.Of("without a flow near in time: not used"), markSample(f.th.passedMark())})
	}
	if trend {
		legend = append(legend, entry{words.Of("trend"), lineSample(f.th.meanLine())})
	}
	if ahead {
		legend = append(legend, entry{words.Of("if the work goes on alike"), lineSample(f.th.backgroundLine())})
	}
	if limit {
		legend = append(legend, entry{words.Of("limit of its maker"), lineSample(f.th.limitLine())})
	}
	f.footer(words.Of("Days of the calendar: with less work it takes longer. Cleaning a filter puts fine dust into the air: blower off, respirator on."), legend)
	return f
}

func withDrops(r airflow.Result) (list []airflow.SetupAirflow) {
	for _, s := range r.Setups {
		if len(s.Filter.Readings) > 0 {
			list = append(list, s)
		}
	}
	return list
}

func dropWords(l airflow.Loading, zone *time.Location) words.Text {
	text := words.Of("%s: %s", airflow.AnswerText(l.Answer).Capital(), l.Why)
	if !l.ReachedAt.IsZero() && l.Limit != nil {
		day := func(t time.Time) words.Moment { return words.Time(t.In(zone), "2 Jan 2006") }
		text = words.Of("%s; at %s about %s (95 %%: %s to %s)", text, words.Number(l.Limit.String()), day(l.ReachedAt), day(l.Earliest), day(l.LatestAt))
	}
	return words.Join("", text, words.Literal("."))
}

// shown is the drop that is drawn of a reading.
func shown(x airflow.DropReading) float64 {
	if x.AtReference != nil {
		return float64(*x.AtReference)
	}
	return float64(x.Drop)
}

func (f *figure) dropPanel(l airflow.Loading) panel {
	var used, loose, trend, ahead plotter.XYs
	ms := func(t time.Time) float64 { return float64(t.UnixMilli()) }
	lo, hi, most := math.Inf(1), math.Inf(-1), 0.0
	cover := func(x, y float64) plotter.XY {
		lo, hi, most = math.Min(lo, x), math.Max(hi, x), math.Max(most, y)
		return plotter.XY{X: x, Y: y}
	}
	for _, x := range l.Readings {
		p := cover(ms(x.At), shown(x))
		if l.Reference != nil && x.AtReference == nil {
			loose = append(loose, p)
		} else {
			used = append(used, p)
		}
	}
	for _, x := range l.Trend {
		trend = append(trend, cover(ms(x.At), float64(x.Drop)))
	}
	if l.Limit != nil {
		most = math.Max(most, float64(*l.Limit))
		if !l.ReachedAt.IsZero() && len(l.Trend) == 2 {
			ahead = plotter.XYs{trend[1], cover(ms(l.ReachedAt), float64(*l.Limit))}
		}
	}
	const hour = 3600 * 1000
	if room := (hi - lo) * 0.04; room > hour {
		lo, hi = lo-room, hi+room
	} else {
		lo, hi = lo-6*hour, hi+6*hour
	}
	p := f.newPlot()
	p.Add(f.grid(false, true))
	f.o.setLinear(&p.Y, 0, most, 5)
	p.X.Tick.Marker = plot.ConstantTicks{}
	width := dataArea(p, f.inner()).Size().X
	p.X.Min, p.X.Max = lo, hi
	p.X.Tick.Marker = clockTicks{f.o.Zone, width, p.X.Tick.Label, f.o.Words}
	if l.Limit != nil {
		p.Add(rule(f.th.limitLine(), lo, float64(*l.Limit), hi, float64(*l.Limit)))
	}
	p.Add(&plotter.Line{XYs: ahead, LineStyle: f.th.backgroundLine()}, &plotter.Line{XYs: trend, LineStyle: f.th.meanLine()}, &plotter.Scatter{XYs: loose, GlyphStyle: f.th.passedMark()}, &plotter.Scatter{XYs: used, GlyphStyle: f.th.afterMark()})
	p.X.Min, p.X.Max = lo, hi
	return panel{Plot: p, data: max(leastRoom, min(110, 0.34*f.o.Width)), stretch: true, right: f.o.Words.Say("Time in %s", f.o.Zone.String())}
}

// AltTextFilterDrop describes the picture that FilterDrop draws.
func AltTextFilterDrop(r airflow.Result, o Options) string {
	parts := []words.Text{words.Of("Pressure drop over the filter since it was cleaned.")}
	for _, s := range withDrops(r) {
		l := s.Filter
		parts = append(parts, words.Of("%s: %s, from %s to %s Pa.", setupTitle(s.Setup), readingCount(len(l.Readings)), number(shown(l.Readings[0])), number(shown(l.Readings[len(l.Readings)-1]))),
			dropWords(l, cmp.Or(o.Zone, time.UTC)))
	}
	return o.brief(sentences(parts...))
}

// CSVFilterDrop writes what FilterDrop draws.
func CSVFilterDrop(w io.Writer, r airflow.Result) error {
	rows := [][]string{{"what", "setup", "time", "drop_pa", "flow_m3_h", "drop_at_reference_flow_pa"}}
	for _, s := range withDrops(r) {
		for _, x := range s.Filter.Readings {
			row := []string{"reading", s.Setup, x.At.UTC().Format(csvTime), exact((*float64)(&x.Drop)), "", ""}
			if x.Flow != nil {
				q := x.Flow.M3H()
				row[4] = exact(&q)
			}
			if x.AtReference != nil {
				row[5] = exact((*float64)(x.AtReference))
			}
			rows = append(rows, row)
		}
		for _, x := range s.Filter.Trend {
			rows = append(rows, []string{"trend", s.Setup, x.At.UTC().Format(csvTime), "", "", exact((*float64)(&x.Drop))})
		}
		if s.Filter.Limit != nil {
			rows = append(rows, []string{"limit", s.Setup, "", exact((*float64)(s.Filter.Limit)), "", ""})
		}
	}
	return table(w, rows)
}

// DustOnFlow draws the fine dust of sessions against the flow measured beside them,
// setups held apart, with the fitted lines. The error wraps dust.ErrNoReadings if no
// session has a flow.
func DustOnFlow(w io.Writer, r airflow.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	if len(r.Dust.Points) == 0 {
		return fmt.Errorf("draw dust against flow: no session has a flow measured: %w", dust.ErrNoReadings)
	}
	return o.write(w, drawDustOnFlow(r, o))
}

func drawDustOnFlow(r airflow.Result, o Options) *figure {
	d := r.Dust
	f := newFigure(o, words.Of("Fine dust against flow"), words.Of("Fine dust of sessions, as a ratio to the first setup's, logarithmic axis"), AltTextDustOnFlow(r, o))
	sty := f.th.text(f.th.ink)
	f.words(capLines(wrap(f.say(dustWords(d)), f.inner(), sty), 7, f.inner(), sty), sty)
	f.space(6)
	setups := inOrderOfUse(r)
	f.plots(f.flowPanel(d, setups))
	var legend []entry
	for i, setup := range setups {
		legend = append(legend, entry{setupTitle(setup), markSample(f.th.setupMark(i))})
	}
	if len(d.Lines) > 0 {
		legend = append(legend, entry{words.Of("one slope for all setups"), lineSample(f.th.meanLine())})
	}
	f.footer(words.Of("One mark is one measurement of the flow with the sessions beside it. It is no experiment: what else changed with the flow is in it."), legend)
	return f
}

func dustWords(d airflow.DustOnFlow) words.Text {
	text := words.Of("%s: %s", airflow.AnswerText(d.Answer).Capital(), d.Why)
	if finite(d.Percent) && finite(d.Low) && finite(d.High) {
		text = words.Of("%s: %s %% for each %s more, 95 %% interval %s to %s; %s", airflow.AnswerText(d.Answer).Capital(), signed(*d.Percent), words.Number(d.Step.String()), signed(*d.Low), signed(*d.High), d.Why)
	}
	return words.Join("", text, words.Literal("."))
}

// setupMark tells setups apart by shape and colour.
func (t *theme) setupMark(i int) draw.GlyphStyle {
	switch i % 4 {
	case 0:
		return t.beforeMark()
	case 1:
		return t.afterMark()
	case 2:
		return draw.GlyphStyle{Color: t.mean, Radius: 4, Shape: draw.PyramidGlyph{}}
	}
	return draw.GlyphStyle{Color: t.limit, Radius: 4, Shape: draw.CrossGlyph{}}
}

// inOrderOfUse are the setups with points, the first used first, so that each has the
// mark that it has in a comparison.
func inOrderOfUse(r airflow.Result) (list []string) {
	for _, s := range r.Setups {
		if slices.Contains(r.Dust.Setups, s.Setup) {
			list = append(list, s.Setup)
		}
	}
	for _, setup := range r.Dust.Setups {
		if !slices.Contains(list, setup) {
			list = append(list, setup)
		}
	}
	return list
}

func (f *figure) flowPanel(d airflow.DustOnFlow, setups []string) panel {
	p := f.newPlot()
	p.Add(f.grid(true, true))
	var x, y []float64
	cover := func(q, dust float64) plotter.XY {
		x, y = append(x, q), append(y, dust)
		return plotter.XY{X: q, Y: dust}
	}
	for _, l := range d.Lines {
		if l.Start > 0 && l.End > 0 && finite(&l.Start) && finite(&l.End) {
			p.Add(&plotter.Line{XYs: plotter.XYs{cover(l.From.M3H(), l.Start), cover(l.To.M3H(), l.End)}, LineStyle: f.th.meanLine()})
		}
	}
	for i, setup := range setups {
		var points plotter.XYs
		for _, pt := range d.Points {
			if pt.Setup == setup && pt.Dust > 0 && finite(&pt.Dust) {
				points = append(points, cover(pt.Flow.M3H(), pt.Dust))
			}
		}
		p.Add(&plotter.Scatter{XYs: points, GlyphStyle: f.th.setupMark(i)})
	}
	loX, hiX := span(x, 0)
	loY, hiY := span(y, 0)
	room := math.Max((hiX-loX)*0.05, 1)
	p.X.Tick.Marker = plot.ConstantTicks{}
	setLog(&p.Y, loY, hiY, logTicks{most: 6, words: f.o.Words})
	f.o.setMinutes(&p.X, loX-room, hiX+room, dataArea(p, f.inner()).Size().X)
	return panel{Plot: p, data: max(leastRoom, min(130, 0.4*f.o.Width)), stretch: true, right: f.o.Words.Say("Flow, m³/h")}
}

// AltTextDustOnFlow describes the picture that DustOnFlow draws.
func AltTextDustOnFlow(r airflow.Result, o Options) string {
	n, m := r.Dust.Sessions, len(r.Dust.Setups)
	return o.brief(words.Of("Fine dust of %s against the flow measured beside them, under %s. %s", sessionCount(n), words.Plural(m, "%d setup", "%d setups", m), dustWords(r.Dust)))
}

// CSVDustOnFlow writes what DustOnFlow draws.
func CSVDustOnFlow(w io.Writer, r airflow.Result) error {
	rows := [][]string{{"what", "setup", "flow_m3_h", "dust_ratio", "sessions"}}
	for _, p := range r.Dust.Points {
		q := p.Flow.M3H()
		rows = append(rows, []string{"point", p.Setup, exact(&q), exact(&p.Dust), strconv.Itoa(p.Sessions)})
	}
	for _, l := range r.Dust.Lines {
		from, to := l.From.M3H(), l.To.M3H()
		rows = append(rows, []string{"line", l.Setup, exact(&from), exact(&l.Start), ""}, []string{"line", l.Setup, exact(&to), exact(&l.End), ""})
	}
	return table(w, rows)
}
