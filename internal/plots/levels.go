package plots

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"strings"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
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

func finite(p *float64) bool { return p != nil && !math.IsNaN(*p) && !math.IsInf(*p, 0) }

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

func drawLevels(r compare.Result, panels []levelPanel, o Options) *drawing {
	f := newFigure(o, "Dust level before and after, by particle size", "Geometric means of sessions, logarithmic axis", AltTextSizeDistribution(r))
	var labels, notes []string
	lw := 0.0
	for _, p := range panels {
		for _, e := range p.rows {
			labels, notes = append(labels, elide(clean(e.Label), 0.35*f.w-16, textSize, false)), append(notes, e.Note)
		}
	}
	labels, noteText := footnotes(labels, notes)
	for _, l := range labels {
		lw = math.Max(lw, textWidth(l, textSize, false))
	}
	lw = math.Min(lw, 0.35*f.w)
	f.setFooter(strings.TrimSpace(levelsCaption(r, panels)+" "+noteText), f.setupLegend(r))
	x0, x1 := margin+lw+8, f.w-margin-14
	y, k := f.top, 0
	fixed := float64(len(panels)) * (3*lineStep + 6)
	row := math.Max(rowHeight, math.Min(1.6*rowHeight, (f.o.Height.Points()-f.top-f.footer.height()-margin-fixed)/float64(len(labels))))
	for _, p := range panels {
		r := rect{x0, y, x1, y + row*float64(len(p.rows))}
		y = f.drawLevelPanel(p, r, row, labels[k:k+len(p.rows)])
		k += len(p.rows)
	}
	return f.finish(y - 6)
}

func (f *figure) drawLevelPanel(p levelPanel, r rect, row float64, labels []string) float64 {
	lo, hi := span(p.values(), p.floor)
	s, _ := logScale(lo, hi, 1)
	s, ticks := s.across(r.x0, r.x1)
	y := f.xAxis(r, s, ticks)
	f.base(r)
	for i, e := range p.rows {
		at := r.y0 + (float64(i)+0.5)*row
		f.text(label{text: elide(labels[i], r.x0-8-margin, textSize, false), at: point{r.x0 - 8, at + 0.33*textSize}, align: right, color: f.th.ink})
		f.levelPair(e, s, p.floor, at)
	}
	f.text(label{text: levelUnit(p.unit), at: point{r.x1, y + ascent*textSize}, align: right, color: f.th.muted})
	return y + lineStep + 6
}

func levelUnit(unit string) string {
	switch unit {
	case "µg/m³":
		return "Mass of dust by optical sensor, " + unit
	case "1/cm³":
		return "Number of particles by optical sensor, " + unit
	}
	return unit
}

// levelPair draws before and after of one size, joined by a line.
func (f *figure) levelPair(e compare.Effect, s scale, floor, y float64) {
	place := func(v float64) float64 { return s.pos(math.Max(v, floor)) }
	if finite(e.Before) && finite(e.After) {
		f.line("change", pen{color: f.th.muted, width: 1}, point{place(*e.Before), y}, point{place(*e.After), y})
	}
	mark := func(role string, v *float64, kind markKind, r float64, ink color.NRGBA) {
		if !finite(v) {
			return
		}
		if *v < floor {
			kind = leftTriangle
		}
		f.mark(role, kind, point{place(*v), y}, r, ink, f.th.paper)
	}
	mark("before", e.Before, openCircle, 4, f.th.before)
	mark("after", e.After, filledSquare, 3.2, f.th.after)
}

// setupLegend names the markers of both setups.
func (f *figure) setupLegend(r compare.Result) []entry {
	return []entry{
		{"before: " + r.Before, func(d *drawing, b rect) {
			d.mark("legend", openCircle, point{(b.x0 + b.x1) / 2, (b.y0 + b.y1) / 2}, 4, f.th.before, f.th.paper)
		}},
		{"after: " + r.After, func(d *drawing, b rect) {
			d.mark("legend", filledSquare, point{(b.x0 + b.x1) / 2, (b.y0 + b.y1) / 2}, 3.2, f.th.after, f.th.paper)
		}},
	}
}

func levelsCaption(r compare.Result, panels []levelPanel) string {
	text := sensorCaption(r)
	for _, p := range panels {
		if p.floor > 0 {
			text += fmt.Sprintf(" Triangles: below %s %s, drawn there.", number(p.floor), p.unit)
		}
	}
	return text
}

// AltTextSizeDistribution describes the picture that SizeDistribution draws.
func AltTextSizeDistribution(r compare.Result) string {
	var parts []string
	for _, e := range r.Bins {
		if finite(e.Before) || finite(e.After) {
			parts = append(parts, fmt.Sprintf("%s: %s before, %s after %s", e.Label, levelText(e.Before), levelText(e.After), e.Unit))
		}
	}
	return brief(fmt.Sprintf("Geometric mean dust level under %s (before) and %s (after) by particle size. %s.",
		r.Before, r.After, strings.Join(parts, "; ")))
}

func levelText(p *float64) string {
	if !finite(p) {
		return "unknown"
	}
	return number(*p)
}
