package plots

import (
	"math"
)

// Distances in points that all pictures share.
const (
	margin    = 8.0
	lineStep  = textSize * leading
	leastRoom = 90.0 // height of the smallest panel
)

// figure is a drawing under construction: a header, room for panels, a footer.
type figure struct {
	drawing
	th     *theme
	o      Options
	top    float64 // next free y below the header
	footer footer
}

// newFigure starts a picture and sets its title and the line under it.
func newFigure(o Options, title, subtitle, alt string) *figure {
	f := &figure{o: o, th: themes[o.Theme], top: margin}
	f.w, f.paper, f.alt = o.Width.Points(), f.th.paper, alt
	for _, line := range capLines(wrap(title, f.inner(), titleSize, true), 4, f.inner(), titleSize, true) {
		f.text(label{text: line, at: point{margin, f.top + ascent*titleSize}, size: titleSize, bold: true, color: f.th.ink})
		f.top += titleSize * leading
	}
	f.top += 1
	for _, line := range capLines(wrap(subtitle, f.inner(), textSize, false), 4, f.inner(), textSize, false) {
		f.text(label{text: line, at: point{margin, f.top + ascent*textSize}, color: f.th.muted})
		f.top += lineStep
	}
	f.top += 4
	return f
}

func (f *figure) inner() float64 { return f.w - 2*margin }

// capLines keeps at most n lines; the last one kept then ends in an ellipsis.
func capLines(lines []string, n int, width, size float64, bold bool) []string {
	if len(lines) <= n {
		return lines
	}
	lines = lines[:n:n]
	lines[n-1] = elide(lines[n-1]+" …", width, size, bold)
	return lines
}

// entry is one line of a legend: a sample and what it stands for.
type entry struct {
	text   string
	sample func(d *drawing, r rect)
}

const sampleWidth = 20.0

// footer is the legend and the caption below the panels.
type footer struct {
	rows    [][]entry
	caption []string
}

// setFooter lays out caption and legends, each from a new row on, so that their
// height is known before the panels are drawn.
func (f *figure) setFooter(caption string, legends ...[]entry) {
	f.footer.caption = wrap(caption, f.inner(), textSize, false)
	for _, legend := range legends {
		f.footer.rows = append(f.footer.rows, flow(legend, f.inner())...)
	}
}

// flow fills legend rows from left to right. An entry too wide for a row is cut.
func flow(legend []entry, width float64) [][]entry {
	var rows [][]entry
	used := math.Inf(1)
	for _, e := range legend {
		e.text = elide(clean(e.text), width-sampleWidth-4, textSize, false)
		w := entryWidth(e)
		if used+w > width {
			rows, used = append(rows, nil), 0
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], e)
		used += w + 12
	}
	return rows
}

func entryWidth(e entry) float64 {
	w := textWidth(e.text, textSize, false)
	if e.sample != nil {
		w += sampleWidth + 4
	}
	return w
}

func (t footer) height() float64 {
	h := float64(len(t.rows))*(lineStep+1) + float64(len(t.caption))*lineStep
	if len(t.rows) > 0 {
		h += 6
	}
	if len(t.caption) > 0 {
		h += 4
	}
	return h
}

// panelHeight is the room left for panels that want the height given, plus
// fixed points around them: more if the options ask for a taller picture.
func (f *figure) panelHeight(want, fixed float64) float64 {
	want = math.Max(want, leastRoom)
	return math.Max(want, f.o.Height.Points()-f.top-fixed-f.footer.height()-margin)
}

// finish draws the footer from y on and closes the picture below it.
func (f *figure) finish(y float64) *drawing {
	if len(f.footer.rows) > 0 {
		y += 6
	}
	for _, row := range f.footer.rows {
		x := margin
		for _, e := range row {
			at := x
			if e.sample != nil {
				e.sample(&f.drawing, rect{x, y + 1.5, x + sampleWidth, y + 10.5})
				at += sampleWidth + 4
			}
			f.text(label{text: e.text, at: point{at, y + ascent*textSize}, color: f.th.ink})
			x += entryWidth(e) + 12
		}
		y += lineStep + 1
	}
	if len(f.footer.caption) > 0 {
		y += 4
	}
	for _, line := range f.footer.caption {
		f.text(label{text: line, at: point{margin, y + ascent*textSize}, color: f.th.muted})
		y += lineStep
	}
	f.h = math.Max(y+margin-2, f.o.Height.Points())
	return &f.drawing
}

// yAxis draws level lines across r and their labels to its left.
func (f *figure) yAxis(r rect, s scale, ticks []tick) {
	for _, t := range ticks {
		y := s.pos(t.value)
		if y < r.y0-0.5 || y > r.y1+0.5 {
			continue
		}
		f.line("grid", pen{color: f.th.grid, width: 0.7}, point{r.x0, y}, point{r.x1, y})
		f.text(label{text: t.label, at: point{r.x0 - 4, y + 0.33*textSize}, align: right, color: f.th.muted})
	}
}

// labelWidth is the room that the labels of ticks need.
func labelWidth(ticks []tick) float64 {
	w := 0.0
	for _, t := range ticks {
		w = math.Max(w, textWidth(t.label, textSize, false))
	}
	return w
}

// frame draws the base line of a panel.
func (f *figure) base(r rect) {
	f.line("axis", pen{color: f.th.muted, width: 0.8}, point{r.x0, r.y1}, point{r.x1, r.y1})
}

// xAxis draws a logarithmic or linear axis below r: upright lines and labels.
// Labels that would touch the one before are left out. It returns the next free y.
func (f *figure) xAxis(r rect, s scale, ticks []tick) float64 {
	end := math.Inf(-1)
	for _, t := range ticks {
		x := s.pos(t.value)
		f.line("grid", pen{color: f.th.grid, width: 0.7}, point{x, r.y0}, point{x, r.y1})
		l := label{text: t.label, at: point{x, r.y1 + 3 + ascent*textSize}, align: centre, color: f.th.muted}
		b := l.box()
		if b.x0 < end+4 || b.x0 < 1 || b.x1 > f.w-1 {
			continue
		}
		end = b.x1
		f.text(l)
	}
	return r.y1 + 3 + lineStep
}
