package plots

import (
	"fmt"
	"io"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// ClearanceData is what a picture of falling dust shows: one panel a fall.
type ClearanceData struct {
	Result clearance.Result
	Trace  *clearance.Trace
	Falls  []Fall
	Zone   *time.Location // of the dates; UTC if nil
}

// Fall is one fall of the dust with the level waited for. Minutes count from the
// start of its record.
type Fall struct {
	clearance.Decay
	Level   *float64 // in the result's unit; nil for none
	Minutes *float64 // until it is reached; nil if that cannot be told
	Upper   *float64 // the same at most; nil for no upper bound
}

// FallsTo are decays with the level that their result was asked about.
func FallsTo(r clearance.Result, decays []clearance.Decay) []Fall {
	falls := make([]Fall, len(decays))
	for i, d := range decays {
		falls[i] = Fall{Decay: d, Level: r.Level, Minutes: d.MinutesToLevel, Upper: d.MinutesHigh}
	}
	return falls
}

// Clearance draws how the dust fell once its source was off: the means of 20 s, the
// fitted curve, the background it goes to, and when it is at a level. The error
// wraps dust.ErrNoReadings if there is no fall to draw.
func Clearance(w io.Writer, d ClearanceData, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	if len(d.Falls) == 0 || d.Trace == nil {
		return fmt.Errorf("draw how dust clears, sensor %q: no fall after a task: %w", d.Result.Sensor, dust.ErrNoReadings)
	}
	return o.write(w, d.draw(o))
}

// leadIn is shown before a record begins: the end of the work, and the minute in
// which the room mixes.
const leadIn = 4 * time.Minute

// fallPlot is a fall with what drawing it takes.
type fallPlot struct {
	Fall
	means  []sample // ms from the record's start, in the result's unit
	fitted []sample
	last   float64 // minutes
	floor  float64
}

func (d ClearanceData) fallPlot(f Fall) fallPlot {
	p := fallPlot{Fall: f}
	before := int64(math.MinInt64)
	for at, c := range d.Trace.Means(f.From.Add(-leadIn), f.To) {
		ms := at.Sub(f.From).Milliseconds()
		p.means = append(p.means, sample{ms: ms, v: c, joined: ms-before <= 30_000})
		before = ms
	}
	p.last = f.To.Sub(f.From).Minutes()
	if finite(f.Minutes) {
		// A line far beyond the record would press the fall together.
		p.last = math.Max(p.last, math.Min(1.05**f.Minutes, 2*p.last))
	}
	const points = 120
	for i := range points + 1 {
		at := time.Duration(p.last * float64(i) / points * float64(time.Minute))
		if level, ok := f.At(f.From.Add(at)); ok {
			p.fitted = append(p.fitted, sample{ms: at.Milliseconds(), v: level, joined: i > 0})
		}
	}
	p.floor = floorOf(p.values())
	return p
}

func (p fallPlot) values() []float64 {
	var v []float64
	for _, s := range p.means {
		v = append(v, s.v)
	}
	for _, x := range []*float64{p.Background, p.Level, p.C0} {
		if finite(x) {
			v = append(v, *x)
		}
	}
	return v
}

func (d ClearanceData) draw(o Options) *figure {
	f := newFigure(o, words.Of("How dust clears after work, at %s", d.Result.Sensor),
		words.Of("%s by optical sensor, %s, logarithmic axis; means over 20 s", metricLabel(d.Result.Metric), d.Result.Unit), AltTextClearance(d, o))
	var level, low, cut bool
	for i, fall := range d.Falls {
		p := d.fallPlot(fall)
		if i > 0 {
			f.space(6)
		}
		f.words(capLines(wrap(f.say(d.heading(fall)), f.inner(), f.th.bold()), 2, f.inner(), f.th.bold()), f.th.bold())
		sty := f.th.text(f.th.ink)
		f.words(capLines(wrap(f.say(d.figures(fall)), f.inner(), sty), 3, f.inner(), sty), sty)
		f.space(lineStep)
		f.plots(f.fallPanel(p))
		level, low = level || finite(fall.Level), low || p.floor > 0
		cut = cut || finite(fall.Minutes) && *fall.Minutes > p.last
	}
	f.footer(d.caption(low, cut), d.legend(f.th, level))
	return f
}

func (d ClearanceData) heading(f Fall) words.Text {
	after := words.Of("a drop in the trace")
	if f.After != "" {
		after = words.Of("after %s", clean(f.After))
	}
	if f.Setup != "" {
		after = words.Of("%s, %s", clean(f.Setup), after)
	}
	return words.Of("%s, %s", after, words.Time(f.From.In(d.zone()), "2006-01-02 15:04"))
}

func (d ClearanceData) zone() *time.Location {
	if d.Zone == nil {
		return time.UTC
	}
	return d.Zone
}

// figures are a fall's numbers in words.
func (d ClearanceData) figures(f Fall) words.Text {
	if f.State != clearance.Measured || !finite(f.PerHour) {
		return words.Of("Rate: cannot tell: %s", f.Why)
	}
	text := words.Of("Clears %s times an hour", number(*f.PerHour))
	if finite(f.Low) && finite(f.High) {
		text = words.Of("%s (95 %% interval %s to %s)", text, number(*f.Low), number(*f.High))
	}
	if finite(f.HalfLifeMinutes) {
		text = words.Of("%s; half of it gone in %s min", text, number(*f.HalfLifeMinutes))
	}
	if finite(f.Background) {
		text = words.Of("%s; goes to %s %s (%s)", text, number(*f.Background), d.Result.Unit, f.BackgroundFrom)
	}
	if finite(f.Level) {
		text = words.Join("; ", text, d.untilText(f))
	}
	return words.Join("", text, words.Literal("."))
}

func (d ClearanceData) untilText(f Fall) words.Text {
	level := words.Of("%s %s", number(*f.Level), d.Result.Unit)
	if !finite(f.Minutes) {
		return words.Of("when it is at %s cannot be told", level)
	}
	if finite(f.Upper) {
		return words.Of("at %s after %s min, %s at most", level, number(*f.Minutes), number(*f.Upper))
	}
	return words.Of("at %s after %s min, no upper bound", level, number(*f.Minutes))
}

// fallPanel plots one fall over the minutes since its record began.
func (f *figure) fallPanel(p fallPlot) panel {
	pl := f.newPlot()
	lo, hi := span(p.values(), p.floor)
	setLog(&pl.Y, lo, hi, logTicks{most: 6, words: f.o.Words})
	lines := &fallLines{fallPlot: p, th: f.th, words: f.o.Words}
	pl.X.Tick.Marker = plot.ConstantTicks{}
	width := dataArea(pl, f.inner()).Size().X
	f.o.setMinutes(&pl.X, -leadIn.Minutes(), p.last, width)
	pl.Add(f.grid(true, true), lines)
	return panel{Plot: pl, data: max(leastRoom, min(120, 0.4*f.o.Width)), stretch: true, right: f.o.Words.Say("Minutes from the start of the record")}
}

// setMinutes covers lo…hi exactly, with round ticks that have room.
func (o Options) setMinutes(a *plot.Axis, lo, hi float64, width vg.Length) {
	o.setLinear(a, lo, hi, max(2, int(width/45)))
	var inside plot.ConstantTicks
	for _, t := range a.Tick.Marker.Ticks(a.Min, a.Max) {
		if t.Value >= lo-1e-9 && t.Value <= hi+1e-9 {
			inside = append(inside, t)
		}
	}
	a.Min, a.Max = lo, hi
	norm := func(v float64) float64 { return (v - lo) / (hi - lo) }
	a.Tick.Marker = plot.ConstantTicks(apart(inside, norm, width, 6, a.Tick.Label))
}

// fallLines draws the means, the curve, the background and the level.
type fallLines struct {
	fallPlot
	th    *theme
	words *words.Printer
}

// Plot implements plot.Plotter.
func (l *fallLines) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	x := func(ms int64) vg.Length { return toX(float64(ms) / 60_000) }
	y := func(v float64) vg.Length { return toY(math.Min(math.Max(v, math.Max(p.Y.Min, l.floor)), p.Y.Max)) }
	level := func(v *float64, sty draw.LineStyle) {
		if finite(v) {
			c.StrokeLine2(sty, c.Min.X, y(*v), c.Max.X, y(*v))
		}
	}
	level(l.Background, l.th.backgroundLine())
	level(l.Level, l.th.limitLine())
	means := reduce(yieldAll(l.means), x, y, columnWidth)
	means.draw(c, draw.LineStyle{Color: l.th.reading, Width: 1.2}, 1.4)
	reduce(yieldAll(l.fitted), x, y, columnWidth).draw(c, l.th.curveLine(), 1)
	if finite(l.Minutes) && *l.Minutes <= p.X.Max {
		at := toX(*l.Minutes)
		c.StrokeLine2(l.th.limitLine(), at, c.Min.Y, at, c.Max.Y+2)
		sty, text := l.th.text(l.th.limit), l.words.Say("%s min", number(*l.Minutes))
		w := sty.Width(text)
		write(c, sty, vg.Point{X: max(c.Min.X, min(at-w/2, c.Max.X-w)), Y: c.Max.Y + 4}, text)
	}
}

func yieldAll(list []sample) func(func(sample) bool) {
	return func(yield func(sample) bool) {
		for _, s := range list {
			if !yield(s) {
				return
			}
		}
	}
}

func (t *theme) backgroundLine() draw.LineStyle {
	return draw.LineStyle{Color: t.muted, Width: 1.2, Dashes: []vg.Length{1.5, 2.5}}
}

func (t *theme) curveLine() draw.LineStyle { return draw.LineStyle{Color: t.mean, Width: 1.5} }

func (d ClearanceData) legend(th *theme, level bool) []entry {
	out := []entry{
		{words.Of("means over 20 s"), lineSample(draw.LineStyle{Color: th.reading, Width: 1.2})},
		{words.Of("fitted curve"), lineSample(th.curveLine())},
		{words.Of("background"), lineSample(th.backgroundLine())},
	}
	if level {
		out = append(out, entry{words.Of("level waited for, and when"), lineSample(th.limitLine())})
	}
	return out
}

func (d ClearanceData) caption(low, cut bool) words.Text {
	parts := []words.Text{words.Of("Optical sensor %s, %s. The record begins a minute after the source went off. The curve takes the air for one mixed room.",
		d.Result.Sensor, placeText(dust.Position(d.Result.Position)))}
	if low {
		parts = append(parts, words.Of("Values at or below the sensor's step are drawn at the lower edge."))
	}
	if cut {
		parts = append(parts, words.Of("A level reached much later than the record lasts is told in words only."))
	}
	return sentences(parts...)
}

// AltTextClearance describes the picture that Clearance draws.
func AltTextClearance(d ClearanceData, o Options) string {
	parts := []words.Text{words.Of("How %s falls at %s once the source is off.", metricLabel(d.Result.Metric), d.Result.Sensor)}
	for _, f := range d.Falls {
		parts = append(parts, words.Of("%s: %s", d.heading(f), d.figures(f)))
	}
	return o.brief(sentences(parts...))
}

// CSVClearance writes what Clearance draws, one value a row. Minutes count from the
// start of each record; dates are in the data's zone.
func CSVClearance(w io.Writer, d ClearanceData) error {
	rows := [][]string{{"what", "setup", "after", "record_start", "minutes", "value", "unit"}}
	for _, fall := range d.Falls {
		p := d.fallPlot(fall)
		add := func(what string, minutes, value *float64) {
			if finite(value) {
				rows = append(rows, []string{what, fall.Setup, fall.After, fall.From.In(d.zone()).Format(csvTime), exact(minutes), exact(value), d.Result.Unit})
			}
		}
		line := func(what string, list []sample) {
			for _, s := range list {
				minutes := float64(s.ms) / 60_000
				add(what, &minutes, &s.v)
			}
		}
		line("mean_20s", p.means)
		line("fitted", p.fitted)
		add("background", nil, fall.Background)
		add("level", fall.Minutes, fall.Level)
	}
	return table(w, rows)
}
