package plots

import (
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/words"
)

const (
	stripHeight = 6.0 // below the data area: when readings were not usable
	tracePanel  = 170.0
)

func (t *trace) draw() *figure {
	f := newFigure(t.o, t.title(), t.quantity(), t.altText())
	if len(t.Tasks) == 0 {
		f.space(4) // or the axis' top number comes close to the words above
	}
	p := f.newPlot()
	t.setAxes(p)
	if t.limitShown(p.Y) {
		p.Add(beside{th: f.th, ink: f.th.limit, texts: []string{t.o.Words.Say("limit")}, y: []float64{t.limit}})
	}
	p.X.Tick.Marker = clockTicks{zone: t.o.Zone, width: dataArea(p, f.inner()).Size().X, sty: p.X.Tick.Label, words: t.o.Words}
	width := dataArea(p, f.inner()).Size().X
	tasks := layoutTasks(t.Tasks, t.from, t.to, 0, width)
	ms := p.X.Max - p.X.Min
	none, unusable := t.pauses(int64(1.5 / float64(width) * ms))
	note := t.limitNote(f.th, p.Y.Max, width)
	lift := vg.Length(0)
	if !note.IsZero() {
		lift = lineStep
	}
	p.Add(pauses{f.th, none, unusable}, f.grid(true, true), taskBands{tasks, f.th, lift})
	lines := &traceLines{trace: t, th: f.th}
	p.Add(lines, edgeNote{f, note})
	f.plots(panel{Plot: p, data: min(tracePanel, f.o.Width/2), stretch: true,
		right: elide(f.o.Words.Say("Clock time, %s", zoneLabel(t.from, t.to, t.o.Zone)), width, f.th.text(f.th.muted))})
	f.footer(t.fullCaption(tasks, note), t.legend(f.th, t.limitShown(p.Y), len(none) > 0, len(unusable) > 0), tasks.taskLegend())
	return f
}

// setAxes covers the shift, and the readings from zero on. The limit is covered
// too if it is not far above them.
func (t *trace) setAxes(p *plot.Plot) {
	p.X.Min, p.X.Max = float64(t.from.UnixMilli()), float64(t.to.UnixMilli())
	p.X.Tick.Length, p.X.Tick.Marker = stripHeight, plot.ConstantTicks{}
	t.setLevels(&p.Y)
}

func (t *trace) setLevels(a *plot.Axis) {
	high := t.high
	if t.o.LogY && t.usable > 0 {
		low := math.Max(t.low, t.floor)
		if t.limit > 0 && t.limit <= 3*high {
			high, low = math.Max(high, t.limit), math.Min(low, t.limit)
		}
		setLog(a, low, math.Max(high, low), logTicks{most: 7, words: t.o.Words})
		return
	}
	if t.limit > 0 && t.limit <= 1.5*high {
		high = math.Max(high, t.limit*1.08)
	}
	if high <= 0 && t.low >= 0 {
		high = 10 / t.perUnit // all zero: a sensor's few lowest steps
	}
	t.o.setLinear(a, math.Min(0, t.low), high, 6)
}

func (t *trace) limitShown(y plot.Axis) bool {
	return t.limit > 0 && y.Min <= t.limit && t.limit <= y.Max
}

// limitNote names a limit above the axis, briefly where there is little room.
func (t *trace) limitNote(th *theme, top float64, width vg.Length) words.Text {
	if t.limit <= top {
		return words.Text{}
	}
	if full := t.limitText(); th.text(th.limit).Width(t.o.Words.Text(aboveText(full))) <= width {
		return full
	}
	return t.limitShort()
}

func aboveText(note words.Text) words.Text { return words.Of("↑ %s is above this plot", note) }

func (t *trace) limitShort() words.Text { return words.Of("limit %s mg/m³", number(t.LimitMgM3)) }

// edgeNote names the limit above the data area's right end.
type edgeNote struct {
	f    *figure
	note words.Text
}

// Plot implements plot.Plotter.
func (e edgeNote) Plot(c draw.Canvas, _ *plot.Plot) {
	if e.note.IsZero() {
		return
	}
	sty, text := e.f.th.text(e.f.th.limit), e.f.say(aboveText(e.note))
	backed(c, e.f.th, sty, vg.Point{X: c.Max.X - sty.Width(text), Y: c.Max.Y + 3.5}, text)
}

// pauses shades the time without usable readings and marks below the axis when
// there were unusable ones.
type pauses struct {
	th             *theme
	none, unusable []stretch
}

// Plot implements plot.Plotter.
func (g pauses) Plot(c draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&c)
	c.SetColor(g.th.shade)
	for _, s := range g.none {
		c.Fill(vg.Rectangle{Min: vg.Point{X: x(float64(s.from)), Y: c.Min.Y}, Max: vg.Point{X: x(float64(s.to)), Y: c.Max.Y}}.Path())
	}
	var strip vg.Path
	end := c.Min.X
	for _, s := range g.unusable {
		a, b := max(x(float64(s.from)), end), x(float64(s.to))
		for at := a; at < b || at == a; at += 2 { // upright marks, 2 points apart
			strip = append(strip, upright(at, c.Min.Y-1, c.Min.Y-stripHeight)...)
			end = at + 2
		}
	}
	stroke(c, draw.LineStyle{Color: g.th.ink, Width: 0.8}, strip)
}

// traceLines draws the readings, the mean over 15 minutes and the limit.
type traceLines struct {
	*trace
	th *theme
}

const columnWidth = 0.75 // points; a thin line is about as wide

// Plot implements plot.Plotter.
func (t *traceLines) Plot(c draw.Canvas, p *plot.Plot) {
	if t.usable == 0 {
		sty := t.th.text(t.th.ink)
		sty.XAlign = draw.XCenter
		write(c, sty, c.Center(), t.o.Words.Say("no usable readings"))
	}
	x := func(ms int64) vg.Length { return c.X(p.X.Norm(float64(ms))) }
	least := math.Inf(-1)
	if t.o.LogY {
		least = math.Max(p.Y.Min, t.floor)
	}
	y := func(v float64) vg.Length { return c.Y(p.Y.Norm(math.Max(v, least))) }
	readings := reduce(t.samples, x, y, columnWidth)
	readings.draw(c, t.th.readingLine(), dotRadius(len(readings.dots)))
	reduce(slices.Values(t.mean), x, y, columnWidth).draw(c, t.th.meanLine(), 1.2)
	if t.limitShown(p.Y) {
		at := y(t.limit)
		c.StrokeLine2(t.th.limitLine(), c.Min.X, at, c.Max.X, at)
	}
}

func (t *theme) readingLine() draw.LineStyle { return draw.LineStyle{Color: t.reading, Width: 0.8} }
func (t *theme) meanLine() draw.LineStyle    { return draw.LineStyle{Color: t.mean, Width: 2} }
func (t *theme) limitLine() draw.LineStyle {
	return draw.LineStyle{Color: t.limit, Width: 1.3, Dashes: []vg.Length{6, 3}}
}

// dotRadius makes few lone readings easy to see and many of them a fine line.
func dotRadius(n int) vg.Length {
	if n <= 60 {
		return 1.6
	}
	return 0.7
}

// draw draws lines, and small squares for what stands alone.
func (k curve) draw(c draw.Canvas, sty draw.LineStyle, dot vg.Length) {
	var lines, dots vg.Path
	for _, path := range k.paths {
		for i, p := range path {
			if i == 0 {
				lines.Move(p)
			} else {
				lines.Line(p)
			}
		}
	}
	stroke(c, sty, lines)
	c.SetColor(sty.Color)
	for i, p := range k.dots {
		dots = append(dots, vg.Rectangle{Min: p.Sub(vg.Point{X: dot, Y: dot}), Max: p.Add(vg.Point{X: dot, Y: dot})}.Path()...)
		if i%50 == 49 || i == len(k.dots)-1 {
			c.Fill(dots)
			dots = nil
		}
	}
}

// stroke draws a long path in pieces: the image canvas takes time that grows
// with the square of a piece's lines. Pieces of a line share a corner.
func stroke(c draw.Canvas, sty draw.LineStyle, path vg.Path) {
	const most = 48
	c.SetLineStyle(sty)
	for i := 0; i < len(path); i += most {
		piece := path[i:min(i+most, len(path))]
		if piece[0].Type != vg.MoveComp {
			piece = slices.Concat(vg.Path{{Type: vg.MoveComp, Pos: path[i-1].Pos}}, piece)
		}
		c.Stroke(piece)
	}
}

func (t *trace) legend(th *theme, limit, gaps, unusable bool) []entry {
	out := []entry{{words.Of("readings"), lineSample(th.readingLine())}}
	if len(t.mean) > 0 {
		out = append(out, entry{words.Of("15-minute mean"), lineSample(th.meanLine())})
	}
	if limit {
		out = append(out, entry{t.limitText(), lineSample(th.limitLine())})
	}
	if gaps {
		out = append(out, entry{words.Of("no usable readings"), thumbnail(func(c *draw.Canvas) {
			c.SetColor(th.shade)
			c.Fill(c.Rectangle.Path())
			c.SetLineStyle(draw.LineStyle{Color: th.grid, Width: 0.7})
			c.Stroke(c.Rectangle.Path())
		})})
	}
	if unusable {
		out = append(out, entry{t.leftOut(), thumbnail(func(c *draw.Canvas) {
			var strip vg.Path
			for x := c.Min.X + 4; x < c.Max.X-3; x += 3 {
				strip = append(strip, upright(x, c.Min.Y+2, c.Max.Y-2)...)
			}
			stroke(*c, draw.LineStyle{Color: th.ink, Width: 0.8}, strip)
		})})
	}
	return out
}
