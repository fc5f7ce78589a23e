package plots

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// taskBands draws tasks above a plot, lift points over its data area. Their
// edges run on faintly down to its foot.
type taskBands struct {
	taskLayout
	th   *theme
	lift vg.Length
}

// GlyphBoxes implements plot.GlyphBoxer.
func (b taskBands) GlyphBoxes(*plot.Plot) []plot.GlyphBox {
	return above(b.lift+b.height() > 0, b.lift+b.height())
}

// Plot implements plot.Plotter.
func (b taskBands) Plot(c draw.Canvas, _ *plot.Plot) {
	foot := vg.Point{X: c.Min.X, Y: c.Max.Y + b.lift}
	b.edges(c, foot)
	for i := range b.bands {
		b.band(c, i, b.bandBox(i).Add(foot))
	}
	sty := taskStyle
	sty.Color = b.th.ink
	sty.XAlign = draw.XCenter
	for _, t := range b.labels {
		box, band := t.box.Add(foot), b.bandBox(t.band).Add(foot)
		middle := (box.Min.X + box.Max.X) / 2
		if !t.inside {
			to := (band.Min.X + band.Max.X) / 2
			from := max(box.Min.X+labelPad, min(to, box.Max.X-labelPad)) // upright if it can be
			c.StrokeLine2(draw.LineStyle{Color: b.th.muted, Width: 0.5}, from, box.Min.Y, to, band.Max.Y)
		}
		write(c, sty, vg.Point{X: middle, Y: (box.Min.Y+box.Max.Y)/2 - 0.33*textSize}, t.text)
	}
}

func (b taskBands) edges(c draw.Canvas, foot vg.Point) {
	var lines vg.Path
	for i, band := range b.bands {
		r := b.bandBox(i).Add(foot)
		if r.Size().X <= 6 {
			continue
		}
		lines = append(lines, upright(r.Min.X, c.Min.Y, r.Min.Y)...)
		if !band.open {
			lines = append(lines, upright(r.Max.X, c.Min.Y, r.Min.Y)...)
		}
	}
	if len(lines) > 0 {
		c.SetLineStyle(draw.LineStyle{Color: b.th.edge, Width: 0.6, Dashes: []vg.Length{1, 2}})
		c.Stroke(lines)
	}
}

func upright(x, y0, y1 vg.Length) vg.Path {
	var p vg.Path
	p.Move(vg.Point{X: x, Y: y0})
	p.Line(vg.Point{X: x, Y: y1})
	return p
}

func (b taskBands) band(c draw.Canvas, i int, r vg.Rectangle) {
	c.SetColor(b.th.bandA)
	if i%2 == 1 {
		c.SetColor(b.th.bandB)
	}
	c.Fill(r.Path())
	rim := []vg.Point{{X: r.Max.X, Y: r.Max.Y}, {X: r.Min.X, Y: r.Max.Y}, r.Min, {X: r.Max.X, Y: r.Min.Y}}
	if !b.bands[i].open { // an open end has no edge
		rim = append(rim, rim[0])
	}
	c.StrokeLines(draw.LineStyle{Color: b.th.muted, Width: 0.6}, rim)
}
