package plots

import (
	"fmt"
	"io"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// SizeDistribution draws the level before and after of every size channel on
// logarithmic axes, one panel for each unit. The error wraps dust.ErrNoReadings
// if no size has a level.
func SizeDistribution(w io.Writer, r compare.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	panels := levelPanels(r)
	if len(panels) == 0 {
		return fmt.Errorf("draw levels by particle size, %s: %w", setups(r), dust.ErrNoReadings)
	}
	return o.write(w, drawLevels(r, panels, o))
}

// levelPanel holds the sizes that share a unit.
type levelPanel struct {
	unit  string
	rows  []compare.Effect
	floor float64 // zero and less are drawn here; 0 if there are none
}

func levelPanels(r compare.Result) []levelPanel {
	var out []levelPanel
	index := map[string]int{}
	for _, e := range r.Bins {
		if !finite(e.Before) && !finite(e.After) {
			continue
		}
		i, ok := index[e.Unit]
		if !ok {
			i, index[e.Unit] = len(out), len(out)
			out = append(out, levelPanel{unit: e.Unit})
		}
		out[i].rows = append(out[i].rows, e)
	}
	for i := range out {
		out[i].floor = floorOf(out[i].values())
	}
	return out
}

func (p levelPanel) values() []float64 {
	var v []float64
	for _, e := range p.rows {
		for _, x := range []*float64{e.Before, e.After} {
			if finite(x) {
				v = append(v, *x)
			}
		}
	}
	return v
}

// floorOf is where a logarithmic axis draws values that are zero or less: a
// sensor's step, or the lowest value above zero if that is lower. It is 0 if
// all values are above zero.
func floorOf(values []float64) float64 {
	floor, needed := sensorStep, false
	for _, v := range values {
		if v > 0 {
			floor = math.Min(floor, v)
		} else {
			needed = true
		}
	}
	if !needed {
		return 0
	}
	return floor
}

// span is the lowest and highest value to show, floor applied.
func span(values []float64, floor float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		v = math.Max(v, floor)
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	return lo, hi
}

func drawLevels(r compare.Result, panels []levelPanel, o Options) *figure {
	f := newFigure(o, words.Of("Dust level before and after, by particle size"), words.Of("Geometric means of sessions, logarithmic axis"), AltTextSizeDistribution(r, o))
	ink := f.th.text(f.th.ink)
	var labels, notes []string
	for _, p := range panels {
		for _, e := range p.rows {
			labels, notes = append(labels, elide(clean(f.say(e.Label)), 0.35*f.o.Width-16, ink)), append(notes, f.say(e.Note))
		}
	}
	labels, noteText := footnotes(labels, notes)
	widest := vg.Length(0)
	for _, l := range labels {
		widest = max(widest, ink.Width(l))
	}
	for _, p := range panels {
		own := labels[:len(p.rows)]
		labels = labels[len(p.rows):]
		f.plots(f.levelPanel(p, own, widest))
		if len(labels) > 0 {
			f.space(6)
		}
	}
	f.footer(sentences(levelsCaption(r, panels), words.Literal(noteText)), f.setupLegend(r))
	return f
}

// levelPanel plots before and after of each size, joined by a line. widest is
// the room for names, the same in all panels.
func (f *figure) levelPanel(l levelPanel, labels []string, widest vg.Length) panel {
	p := f.newPlot()
	names(&p.Y, labels, f.th.ink)
	own := vg.Length(0)
	for _, label := range labels {
		own = max(own, p.Y.Tick.Label.Width(label))
	}
	p.Y.Padding = widest - own + 4
	p.Add(f.grid(true, false), beside{th: f.th, ink: f.th.ink})
	var before, after plotter.XYs
	var low [2][]bool
	for i, e := range l.rows {
		place := func(v *float64) plotter.XY { return plotter.XY{X: math.Max(*v, l.floor), Y: row(i)} }
		if finite(e.Before) && finite(e.After) {
			p.Add(rule(draw.LineStyle{Color: f.th.muted, Width: 1}, place(e.Before).X, row(i), place(e.After).X, row(i)))
		}
		if finite(e.Before) {
			before, low[0] = append(before, place(e.Before)), append(low[0], *e.Before < l.floor)
		}
		if finite(e.After) {
			after, low[1] = append(after, place(e.After)), append(low[1], *e.After < l.floor)
		}
	}
	p.Add(marks(before, f.th.beforeMark(), low[0], pointLeft), marks(after, f.th.afterMark(), low[1], pointLeft))
	lo, hi := span(l.values(), l.floor)
	setLog(&p.X, lo, hi, plot.ConstantTicks{})
	f.fitTicks(p)
	return panel{Plot: p, data: vg.Length(rowHeight * float64(len(l.rows))), right: f.say(levelUnit(l.unit)), stretch: true}
}

func levelUnit(unit string) words.Text {
	switch unit {
	case "µg/m³":
		return words.Of("Mass of dust by optical sensor, %s", unit)
	case "1/cm³":
		return words.Of("Number of particles by optical sensor, %s", unit)
	}
	return words.Literal(unit)
}

// setupLegend names the markers of both setups.
func (f *figure) setupLegend(r compare.Result) []entry {
	return []entry{{words.Of("before: %s", r.Before), markSample(f.th.beforeMark())}, {words.Of("after: %s", r.After), markSample(f.th.afterMark())}}
}

func levelsCaption(r compare.Result, panels []levelPanel) words.Text {
	text := sensorCaption(r)
	for _, p := range panels {
		if p.floor > 0 {
			text = sentences(text, words.Of("Triangles: below %s %s, drawn there.", number(p.floor), p.unit))
		}
	}
	return text
}

// AltTextSizeDistribution describes the picture that SizeDistribution draws.
func AltTextSizeDistribution(r compare.Result, o Options) string {
	var parts []words.Text
	for _, e := range r.Bins {
		if finite(e.Before) || finite(e.After) {
			parts = append(parts, words.Of("%s: %s before, %s after %s", e.Label, levelText(e.Before), levelText(e.After), e.Unit))
		}
	}
	return o.brief(words.Of("Geometric mean dust level under %s (before) and %s (after) by particle size. %s.",
		r.Before, r.After, words.Join("; ", parts...)))
}

func levelText(p *float64) words.Text {
	if !finite(p) {
		return words.Of("unknown")
	}
	return number(*p).Text()
}
