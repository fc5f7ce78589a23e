package plots

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
)

// ratioRow is a ratio with its interval, ready to draw.
type ratioRow struct {
	label           string
	ratio, low, hig *float64
	note            string
}

func effectRow(e compare.Effect) ratioRow {
	return ratioRow{clean(e.Label), positive(e.Ratio), positive(e.CILow), positive(e.CIHigh), e.Note}
}

// positive drops what a logarithmic axis cannot show.
func positive(p *float64) *float64 {
	if p == nil || !(*p > 0) || math.IsInf(*p, 0) {
		return nil
	}
	return p
}

// text is the row in figures, or says what is missing.
func (r ratioRow) text() string {
	switch {
	case r.ratio == nil:
		return "no ratio"
	case r.low == nil && r.hig == nil:
		return ratioNumber(*r.ratio) + " (no interval)"
	}
	return ratioNumber(*r.ratio) + " (" + boundText(r.low) + "–" + boundText(r.hig) + ")"
}

func boundText(p *float64) string {
	if p == nil {
		return "?"
	}
	return ratioNumber(*p)
}

// ratioScale covers 1, extra and all rows. Intervals that reach beyond a factor
// of 30 from every ratio are cut, and drawn with an arrow.
func ratioScale(rows []ratioRow, extra ...float64) scale {
	lo, hi := 0.8, 1.25
	for _, x := range extra {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	for _, r := range rows {
		if r.ratio != nil {
			lo, hi = math.Min(lo, *r.ratio), math.Max(hi, *r.ratio)
		}
	}
	least, most := lo/30, hi*30
	for _, r := range rows {
		for _, p := range []*float64{r.low, r.hig} {
			if p != nil && r.ratio != nil {
				lo, hi = math.Min(lo, math.Max(*p, least)), math.Max(hi, math.Min(*p, most))
			}
		}
	}
	s, _ := logScale(lo, hi, 1)
	return s
}

// ratioPanel says where the rows of ratios go. Where the picture is narrow, the
// words of a row stand above its bar.
type ratioPanel struct {
	r       rect
	row     float64
	names   float64 // width of the rows' names
	stacked bool
}

const rowHeight = 19.0

func (f *figure) ratioPanel(rows []ratioRow, labels []string, want float64) ratioPanel {
	lw, tw := 0.0, 0.0
	for i, r := range rows {
		lw = math.Max(lw, textWidth(labels[i], textSize, false))
		tw = math.Max(tw, textWidth(r.text(), textSize, false))
	}
	p := ratioPanel{row: rowHeight, names: lw, r: rect{margin + lw + 8, f.top, f.w - margin - tw - 8, 0}}
	if p.r.w() < 0.45*f.w {
		lw = math.Min(lw, f.inner()-tw-8)
		p = ratioPanel{row: rowHeight + lineStep, names: lw, stacked: true, r: rect{margin + 4, f.top, f.w - margin - 4, 0}}
	}
	p.row = math.Max(p.row, math.Min(want/float64(max(len(rows), 1)), 1.6*p.row))
	return p
}

// drawRatios draws the rows into the panel, whose top and height are set.
func (f *figure) drawRatios(p ratioPanel, rows []ratioRow, labels []string, s scale) {
	one := s.pos(1)
	f.line("one", pen{color: f.th.ink, width: 1}, point{one, p.r.y0}, point{one, p.r.y1})
	for i, row := range rows {
		top := p.r.y0 + float64(i)*p.row
		bar := top + p.row/2
		words := bar + 0.33*textSize
		if p.stacked {
			words = top + 2 + ascent*textSize
			bar = top + 2 + lineStep + (p.row-2-lineStep)/2 - 2
		}
		value := row.text()
		name := label{text: elide(labels[i], p.names, textSize, false), at: point{margin, words}, color: f.th.ink}
		figures := label{text: value, at: point{f.w - margin, words}, align: right, color: f.th.ink}
		if p.stacked {
			figures.align, figures.at.x = left, margin+p.names+8
			f.box("halo", name.box(), &f.th.paper, nil) // only axis lines pass here
			f.box("halo", figures.box(), &f.th.paper, nil)
		}
		f.text(name)
		f.text(figures)
		f.drawRatio(row, s, bar, p.r)
	}
}

func (f *figure) drawRatio(row ratioRow, s scale, y float64, r rect) {
	if row.ratio == nil {
		return
	}
	ink := pen{color: f.th.after, width: 1.6}
	if row.low != nil || row.hig != nil {
		a, cutA := s.end(row.low, r.x0)
		b, cutB := s.end(row.hig, r.x1)
		f.line("interval", ink, point{a, y}, point{b, y})
		f.intervalEnd(ink, a, y, -1, cutA)
		f.intervalEnd(ink, b, y, 1, cutB)
	}
	f.mark("ratio", filledSquare, point{s.pos(*row.ratio), y}, 3.2, f.th.after, f.th.paper)
}

// end places an interval's end; an end that is missing or off the scale is cut
// at the edge.
func (s scale) end(p *float64, edge float64) (x float64, cut bool) {
	if p == nil || *p < s.lo || *p > s.hi {
		return edge, true
	}
	return s.pos(*p), false
}

// intervalEnd is a short upright line, or an arrow head where the interval goes on.
func (f *figure) intervalEnd(p pen, x, y, dir float64, cut bool) {
	if cut {
		f.line("interval", p, point{x - dir*4, y - 3}, point{x, y}, point{x - dir*4, y + 3})
		return
	}
	f.line("interval", p, point{x, y - 3}, point{x, y + 3})
}

// sideNotes says under a ratio axis which side means what. It returns the next free y.
func (f *figure) sideNotes(r rect, y float64) float64 {
	f.text(label{text: "← less after", at: point{r.x0, y + ascent*textSize}, color: f.th.muted})
	f.text(label{text: "more after →", at: point{r.x1, y + ascent*textSize}, align: right, color: f.th.muted})
	return y + lineStep
}

// footnotes gives each distinct note a mark, adds it to the labels, and returns
// the notes as one text.
func footnotes(labels, notes []string) ([]string, string) {
	signs := []string{"*", "†", "‡", "§", "¶"}
	var distinct []string
	out := slices.Clone(labels)
	for i, note := range notes {
		if note == "" {
			continue
		}
		k := slices.Index(distinct, note)
		if k < 0 {
			k, distinct = len(distinct), append(distinct, note)
		}
		out[i] += " " + sign(signs, k)
	}
	var text []string
	for k, note := range distinct {
		text = append(text, sign(signs, k)+" "+clean(note)+".")
	}
	return out, strings.Join(text, " ")
}

func sign(signs []string, k int) string {
	if k < len(signs) {
		return signs[k]
	}
	return fmt.Sprintf("[%d]", k+1)
}

// SizeRatio draws the ratio after/before of every size channel with its
// interval and a line at 1. The error wraps dust.ErrNoReadings if the result
// holds no size.
func SizeRatio(w io.Writer, r compare.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	if len(r.Bins) == 0 {
		return fmt.Errorf("draw ratios by particle size, %s: %w", setups(r), dust.ErrNoReadings)
	}
	return o.write(w, drawSizeRatio(r, o))
}

func drawSizeRatio(r compare.Result, o Options) *drawing {
	subtitle := fmt.Sprintf("Level under “%s” divided by level under “%s”, logarithmic axis", clean(r.After), clean(r.Before))
	f := newFigure(o, "Ratio after to before, by particle size", subtitle, AltTextSizeRatio(r))
	var rows []ratioRow
	var labels, notes []string
	for _, e := range r.Bins {
		row := effectRow(e)
		row.label = elide(row.label, 0.4*f.inner(), textSize, false)
		rows, labels, notes = append(rows, row), append(labels, row.label), append(notes, row.note)
	}
	labels, noteText := footnotes(labels, notes)
	f.setFooter(strings.TrimSpace(fmt.Sprintf("Bars: %s %% intervals. Left of 1: less dust after. %s %s", percent(r), sensorCaption(r), noteText)))
	p := f.ratioPanel(rows, labels, f.o.Height.Points()-f.top-f.footer.height()-2*lineStep-margin)
	p.r.y1 = p.r.y0 + p.row*float64(len(rows))
	s, ticks := ratioScale(rows).across(p.r.x0, p.r.x1)
	y := f.xAxis(p.r, s, ticks)
	f.base(p.r)
	f.drawRatios(p, rows, labels, s)
	return f.finish(f.sideNotes(p.r, y))
}

func percent(r compare.Result) string { return number(100 * r.Confidence) }

func setups(r compare.Result) string { return fmt.Sprintf("setup %q to %q", r.Before, r.After) }

// sensorCaption says where the numbers come from.
func sensorCaption(r compare.Result) string {
	s := fmt.Sprintf("Optical sensor %s, %s", r.Sensor, placeText(dust.Position(r.Position)))
	if r.BackgroundSensor != "" {
		s += "; background of sensor " + r.BackgroundSensor + " subtracted"
	}
	return s + "."
}

// AltTextSizeRatio describes the picture that SizeRatio draws.
func AltTextSizeRatio(r compare.Result) string {
	var parts []string
	for _, e := range r.Bins {
		parts = append(parts, e.Label+": "+effectRow(e).text())
	}
	return brief(fmt.Sprintf("Ratio of the dust level under %s to that under %s by particle size, with %s %% intervals: %s.",
		r.After, r.Before, percent(r), strings.Join(parts, "; ")))
}
