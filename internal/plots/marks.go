package plots

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// circle is an open circle; gonum's RingGlyph is too faint and not filled with
// the paper's colour.
type circle struct{ paper color.Color }

func (g circle) DrawGlyph(c *draw.Canvas, sty draw.GlyphStyle, p vg.Point) {
	path := polygon(p, sty.Radius, 24, 0)
	c.SetColor(g.paper)
	c.Fill(path)
	c.SetLineStyle(draw.LineStyle{Color: sty.Color, Width: 1.3})
	c.Stroke(path)
}

// triangle is filled and points where turn says: it marks a value that lies
// beyond the axis.
type triangle struct{ turn float64 }

const (
	pointDown = -math.Pi / 2
	pointLeft = math.Pi
)

func (g triangle) DrawGlyph(c *draw.Canvas, sty draw.GlyphStyle, p vg.Point) {
	c.Fill(polygon(p, sty.Radius*1.3, 3, g.turn))
}

func polygon(p vg.Point, r vg.Length, corners int, turn float64) vg.Path {
	var path vg.Path
	for i := range corners {
		sin, cos := math.Sincos(turn + 2*math.Pi*float64(i)/float64(corners))
		corner := p.Add(vg.Point{X: vg.Length(cos), Y: vg.Length(sin)}.Scale(r))
		if i == 0 {
			path.Move(corner)
		} else {
			path.Line(corner)
		}
	}
	path.Close()
	return path
}

// beforeMark and afterMark are the marks of the two setups.
func (t *theme) beforeMark() draw.GlyphStyle {
	return draw.GlyphStyle{Color: t.before, Radius: 4, Shape: circle{t.paper}}
}

func (t *theme) afterMark() draw.GlyphStyle {
	return draw.GlyphStyle{Color: t.after, Radius: 4, Shape: draw.BoxGlyph{}}
}

// marks are points in one style, but those beyond the axis, which are triangles
// that point out of the plot.
func marks(points plotter.XYs, sty draw.GlyphStyle, beyond []bool, turn float64) *plotter.Scatter {
	return &plotter.Scatter{XYs: points, GlyphStyle: sty, GlyphStyleFunc: func(i int) draw.GlyphStyle {
		s := sty
		if beyond[i] {
			s.Shape = triangle{turn}
		}
		return s
	}}
}

// beside writes words right of the data area, one at each y, and a heading
// above them. It makes room for itself.
type beside struct {
	th      *theme
	ink     color.Color
	heading string
	texts   []string
	y       []float64
}

func (b beside) Plot(c draw.Canvas, p *plot.Plot) {
	sty := b.th.text(b.ink)
	sty.XAlign = draw.XRight
	x := c.Max.X + b.width()
	_, place := p.Transforms(&c)
	for i, s := range b.texts {
		write(c, sty, vg.Point{X: x, Y: place(b.y[i]) - 0.33*textSize}, s)
	}
	sty.Color = b.th.muted
	write(c, sty, vg.Point{X: x, Y: c.Max.Y + 4}, b.heading)
}

func (b beside) width() vg.Length {
	sty := b.th.text(b.th.ink)
	w := sty.Width(b.heading)
	for _, s := range b.texts {
		w = max(w, sty.Width(s))
	}
	return w + 8
}

// GlyphBoxes implements plot.GlyphBoxer.
func (b beside) GlyphBoxes(*plot.Plot) []plot.GlyphBox {
	return append(above(b.heading != "", lineStep), plot.GlyphBox{X: 1, Rectangle: vg.Rectangle{Max: vg.Point{X: b.width()}}})
}

// above asks for room above the data area.
func above(wanted bool, height vg.Length) []plot.GlyphBox {
	if !wanted {
		return nil
	}
	return []plot.GlyphBox{{Y: 1, Rectangle: vg.Rectangle{Max: vg.Point{Y: height}}}}
}

// names lets a's ticks be the rows of a picture, the first at the top.
func names(a *plot.Axis, labels []string, ink color.Color) {
	ticks := make(plot.ConstantTicks, len(labels))
	for i, l := range labels {
		ticks[i] = plot.Tick{Value: row(i), Label: l}
	}
	a.Padding = 4
	a.Min, a.Max, a.Tick.Marker, a.Tick.Label.Color = row(len(labels))+0.5, row(0)+0.5, ticks, ink
}

// row is where row i stands on an axis.
func row(i int) float64 { return -float64(i) }

// hatch gives slanted lines inside r, so that two fills differ without colour.
// kind 0 gives none.
func hatch(r vg.Rectangle, kind int) vg.Path {
	var path vg.Path
	height := r.Size().Y
	slant := func(step vg.Length, rising bool) {
		for c := r.Min.X - height; c < r.Max.X; c += step {
			x0, x1 := max(r.Min.X, c), min(r.Max.X, c+height)
			if x1-x0 < 0.3 {
				continue
			}
			y0, y1 := r.Min.Y+x0-c, r.Min.Y+x1-c
			if !rising {
				y0, y1 = r.Max.Y-(x0-c), r.Max.Y-(x1-c)
			}
			path.Move(vg.Point{X: x0, Y: y0})
			path.Line(vg.Point{X: x1, Y: y1})
		}
	}
	switch kind {
	case 1:
		slant(5, true)
	case 2:
		slant(5, false)
	case 3:
		slant(7, true)
		slant(7, false)
	}
	return path
}
