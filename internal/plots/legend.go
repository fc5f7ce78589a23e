package plots

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/words"
)

// entry is one line of a legend: a sample and what it stands for. gonum's
// legends stand inside a plot, one entry under the other; ours stand below in
// rows, with the same samples.
type entry struct {
	text   words.Text
	sample plot.Thumbnailer // nil for none
}

const (
	sampleWidth = 20.0
	entryGap    = 12.0
)

// footer adds the legends, each from a new row on, and the caption.
func (f *figure) footer(caption words.Text, legends ...[]entry) {
	var rows [][]entry
	for _, legend := range legends {
		rows = append(rows, f.flow(legend)...)
	}
	if len(rows) > 0 {
		f.space(6)
	}
	for _, row := range rows {
		f.blocks = append(f.blocks, block{height: lineStep + 1, draw: func(c draw.Canvas) { f.drawRow(c, row) }})
	}
	if !caption.IsZero() {
		f.space(4)
		sty := f.th.text(f.th.muted)
		f.words(wrap(f.say(caption), f.inner(), sty), sty)
	}
}

// flow fills legend rows from left to right. An entry too wide for a row is cut.
func (f *figure) flow(legend []entry) [][]entry {
	var rows [][]entry
	used := vg.Length(math.Inf(1))
	for _, e := range legend {
		e.text = words.Literal(elide(clean(f.say(e.text)), f.inner()-sampleWidth-4, f.th.text(f.th.ink)))
		w := f.entryWidth(e)
		if used+w > f.inner() {
			rows, used = append(rows, nil), 0
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], e)
		used += w + entryGap
	}
	return rows
}

func (f *figure) entryWidth(e entry) vg.Length {
	w := f.th.text(f.th.ink).Width(e.text.String())
	if e.sample != nil {
		w += sampleWidth + 4
	}
	return w
}

func (f *figure) drawRow(c draw.Canvas, row []entry) {
	x := c.Min.X
	sty := f.th.text(f.th.ink)
	for _, e := range row {
		at := x
		if e.sample != nil {
			box := draw.Canvas{Canvas: c.Canvas, Rectangle: vg.Rectangle{
				Min: vg.Point{X: x, Y: c.Max.Y - 10.5}, Max: vg.Point{X: x + sampleWidth, Y: c.Max.Y - 1.5}}}
			e.sample.Thumbnail(&box)
			at += sampleWidth + 4
		}
		write(c, sty, vg.Point{X: at, Y: c.Max.Y - sty.FontExtents().Ascent}, e.text.String())
		x += f.entryWidth(e) + entryGap
	}
}

// lineSample shows a line.
func lineSample(sty draw.LineStyle) plot.Thumbnailer { return &plotter.Line{LineStyle: sty} }

// markSample shows a mark.
func markSample(sty draw.GlyphStyle) plot.Thumbnailer { return &plotter.Scatter{GlyphStyle: sty} }

// thumbnail makes a function a legend's sample.
type thumbnail func(c *draw.Canvas)

func (t thumbnail) Thumbnail(c *draw.Canvas) { t(c) }
