package plots

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/words"
)

// Distances in points that all pictures share.
const (
	margin    = 8.0
	lineStep  = textSize * 1.3 // of two base lines
	leastRoom = 90.0           // height of the smallest panel
)

// figure is a picture under construction: blocks from top to bottom, among them
// plots. Its height follows from them.
type figure struct {
	th     *theme
	o      Options
	alt    string
	blocks []block
}

// block is a part of a figure, as wide as the figure's inside.
type block struct {
	height  vg.Length
	stretch bool // takes a share of height that is left over
	draw    func(c draw.Canvas)
}

// newFigure starts a picture with its title and the line under it.
func newFigure(o Options, title, subtitle words.Text, alt string) *figure {
	f := &figure{o: o, th: themes[o.Theme], alt: alt}
	head := f.th.title()
	f.words(capLines(wrap(f.say(title), f.inner(), head), 4, f.inner(), head), head)
	f.space(1)
	sub := f.th.text(f.th.muted)
	f.words(capLines(wrap(f.say(subtitle), f.inner(), sub), 4, f.inner(), sub), sub)
	f.space(4)
	return f
}

// say says a text in the picture's language.
func (f *figure) say(t words.Text) string { return f.o.Words.Text(t) }

func (f *figure) inner() vg.Length { return f.o.Width - 2*margin }

func (f *figure) space(h vg.Length) { f.blocks = append(f.blocks, block{height: h}) }

// words adds lines of text.
func (f *figure) words(lines []string, sty text.Style) {
	for _, line := range lines {
		f.blocks = append(f.blocks, block{height: sty.Font.Size * 1.3, draw: func(c draw.Canvas) {
			write(c, sty, vg.Point{X: c.Min.X, Y: c.Max.Y - sty.FontExtents().Ascent}, line)
		}})
	}
}

// write puts one line of text with its base line at p. (gonum places texts by
// boxes that are a little higher than the line.)
func write(c draw.Canvas, sty text.Style, p vg.Point, line string) {
	sty.YAlign = draw.YBottom
	p.Y += sty.FontExtents().Ascent - sty.Font.Size
	c.FillText(sty, p, line)
}

// panel is a plot in a figure, with words under the two ends of its x axis.
type panel struct {
	*plot.Plot
	data        vg.Length // least height of the data area
	left, right string
	stretch     bool
}

// plots adds panels side by side, with data areas of one size.
func (f *figure) plots(panels ...panel) {
	first := panels[0]
	row := make([]*plot.Plot, len(panels))
	height := vg.Length(0)
	for i, p := range panels {
		row[i] = p.Plot
		around := dataArea(p.Plot, f.inner())
		height = max(height, first.data+fullHeight-around.Size().Y)
	}
	foot := vg.Length(0)
	if first.left+first.right != "" {
		foot = lineStep
	}
	f.blocks = append(f.blocks, block{height: height + foot, stretch: first.stretch, draw: func(c draw.Canvas) {
		tiles := draw.Tiles{Rows: 1, Cols: len(row), PadX: columnGap}
		for i, part := range plot.Align([][]*plot.Plot{row}, tiles, draw.Crop(c, 0, 0, foot, 0))[0] {
			row[i].Draw(part)
			area, sty := row[i].DataCanvas(part), f.th.text(f.th.muted)
			base := c.Min.Y + sty.FontExtents().Descent
			write(c, sty, vg.Point{X: area.Min.X, Y: base}, panels[i].left)
			sty.XAlign = draw.XRight
			write(c, sty, vg.Point{X: area.Max.X, Y: base}, elide(panels[i].right, area.Max.X-c.Min.X, sty))
		}
	}})
}

const (
	columnGap  = 12.0
	fullHeight = 1000.0
)

// dataArea is where a plot that is width wide has its data, in a canvas that
// begins at 0 and is fullHeight high.
func dataArea(p *plot.Plot, width vg.Length) draw.Canvas {
	return p.DataCanvas(draw.NewCanvas(nil, width, fullHeight))
}

// newPlot is an empty plot in the theme's dress: numbers and faint lines, no
// frame but a base line.
func (f *figure) newPlot() *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		sty := f.th.text(f.th.muted)
		sty.XAlign, sty.YAlign = a.Tick.Label.XAlign, a.Tick.Label.YAlign
		a.Tick.Label, a.Label.TextStyle = sty, sty
		a.Padding, a.Tick.Length, a.LineStyle.Width = 0, 0, 0
	}
	p.Y.Padding, p.Y.Tick.Label.YAlign = 1.5, -0.57 // figures, not their boxes, stand level with their lines
	p.X.LineStyle = draw.LineStyle{Color: f.th.muted, Width: 0.8}
	p.X.Tick.Length, p.X.Tick.LineStyle = 3, draw.LineStyle{Color: f.th.grid, Width: 0.7}
	return p
}

// grid draws faint lines at the ticks of one or both axes.
func (f *figure) grid(upright, level bool) *plotter.Grid {
	faint, g := draw.LineStyle{Color: f.th.grid, Width: 0.7}, &plotter.Grid{}
	if upright {
		g.Vertical = faint
	}
	if level {
		g.Horizontal = faint
	}
	return g
}

// rule is a straight line between two places given in data.
func rule(sty draw.LineStyle, x0, y0, x1, y1 float64) *plotter.Line {
	return &plotter.Line{XYs: plotter.XYs{{X: x0, Y: y0}, {X: x1, Y: y1}}, LineStyle: sty}
}

// size is the picture's width and height.
func (f *figure) size() (w, h vg.Length) {
	return f.o.Width, vg.Length(math.Max(float64(f.content()), float64(f.o.Height)))
}

func (f *figure) content() vg.Length {
	h := vg.Length(2*margin - 2)
	for _, b := range f.blocks {
		h += b.height
	}
	return h
}

// paint draws the picture; blocks that stretch share what height is left over.
func (f *figure) paint(c draw.Canvas) {
	c.SetColor(f.th.paper)
	c.Fill(c.Rectangle.Path())
	stretching := 0
	for _, b := range f.blocks {
		if b.stretch {
			stretching++
		}
	}
	_, height := f.size()
	share := (height - f.content()) / vg.Length(max(stretching, 1))
	top := c.Max.Y - margin
	for _, b := range f.blocks {
		h := b.height
		if b.stretch {
			h += share
		}
		if b.draw != nil {
			b.draw(draw.Crop(c, margin, -margin, top-h-c.Min.Y, top-c.Max.Y))
		}
		top -= h
	}
}
