package plots

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// ratioRow is a ratio with its interval, ready to draw.
type ratioRow struct {
	label           string
	ratio, low, hig *float64
	note            string
}

func effectRow(e compare.Effect, say *words.Printer) ratioRow {
	return ratioRow{clean(say.Text(e.Label)), positive(e.Ratio), positive(e.CILow), positive(e.CIHigh), say.Text(e.Note)}
}

// positive drops what a logarithmic axis cannot show.
func positive(p *float64) *float64 {
	if p == nil || !(*p > 0) || math.IsInf(*p, 0) {
		return nil
	}
	return p
}

// text is the row in figures, or says what is missing.
func (r ratioRow) text() words.Text {
	switch {
	case r.ratio == nil:
		return words.Of("no ratio")
	case r.low == nil && r.hig == nil:
		return words.Of("%s (no interval)", ratioNumber(*r.ratio))
	}
	return words.Of("%s (%s–%s)", ratioNumber(*r.ratio), boundText(r.low), boundText(r.hig))
}

func boundText(p *float64) words.Number {
	if p == nil {
		return "?"
	}
	return ratioNumber(*p)
}

// ratioRange covers 1, extra and all rows. Intervals that reach beyond a factor
// of 30 from every ratio are cut, and drawn with an arrow.
func ratioRange(rows []ratioRow, extra ...float64) (lo, hi float64) {
	lo, hi = 0.8, 1.25
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
	return lo, hi
}

const rowHeight = 19.0

// ratioPanel is a plot of rows of ratios: names on the left, figures on the
// right, or both above the bars where there is no room beside them. matters,
// if above zero, is marked as the ratio that is just small enough.
func (f *figure) ratioPanel(rows []ratioRow, labels []string, matters float64) panel {
	p, ink := f.newPlot(), f.th.text(f.th.ink)
	figures := beside{th: f.th, ink: f.th.ink}
	widest := vg.Length(0)
	for i, r := range rows {
		figures.texts, figures.y = append(figures.texts, f.say(r.text())), append(figures.y, row(i))
		widest = max(widest, ink.Width(labels[i]))
	}
	bars := &ratioBars{th: f.th, says: f.o.Words.Say("smallest that matters"), rows: rows, matters: matters}
	names(&p.Y, labels, f.th.ink)
	height := rowHeight
	p.Add(f.grid(true, false), bars)
	if f.inner()-widest-figures.width()-8 < 0.45*f.o.Width {
		height += lineStep
		p.Y.Tick.Marker, p.Y.Padding = plot.ConstantTicks{}, 6
		p.Add(stackedWords{th: f.th, labels: labels, figures: figures, width: f.inner()})
	} else {
		p.Add(figures)
	}
	bars.drop = vg.Length(height-rowHeight) / 2
	var extra []float64
	if matters > 0 {
		extra = append(extra, matters)
	}
	lo, hi := ratioRange(rows, extra...)
	setLog(&p.X, lo, hi, plot.ConstantTicks{})
	f.fitTicks(p)
	return panel{Plot: p, data: vg.Length(height * float64(len(rows))), left: f.o.Words.Say("← less after"), right: f.o.Words.Say("more after →")}
}

// fitTicks marks as many round values along a logarithmic x axis as have room.
func (f *figure) fitTicks(p *plot.Plot) {
	p.X.Tick.Marker = logTicks{width: dataArea(p, f.inner()).Size().X, sty: p.X.Tick.Label, words: f.o.Words}
}

// ratioBars draws ratios with their intervals and the upright line at 1.
type ratioBars struct {
	th      *theme
	rows    []ratioRow
	matters float64
	says    string    // beside the line of what matters
	drop    vg.Length // of the bars below the middles of their rows
}

// Plot implements plot.Plotter.
func (b *ratioBars) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	c.StrokeLine2(draw.LineStyle{Color: b.th.ink, Width: 1}, x(1), c.Min.Y, x(1), c.Max.Y)
	if b.matters > 0 {
		dotted := draw.LineStyle{Color: b.th.muted, Width: 1, Dashes: []vg.Length{2, 2}}
		at := x(b.matters)
		c.StrokeLine2(dotted, at, c.Min.Y, at, c.Max.Y+2)
		sty, text := b.th.text(b.th.muted), b.says
		w := sty.Width(text)
		write(c, sty, vg.Point{X: max(c.Min.X, min(at-w/2, c.Max.X-w)), Y: c.Max.Y + 5}, text)
	}
	for i, r := range b.rows {
		if r.ratio != nil {
			b.interval(c, p, r, y(row(i))-b.drop)
			c.DrawGlyphNoClip(b.th.afterMark(), vg.Point{X: x(*r.ratio), Y: y(row(i)) - b.drop})
		}
	}
}

// GlyphBoxes implements plot.GlyphBoxer.
func (b *ratioBars) GlyphBoxes(*plot.Plot) []plot.GlyphBox { return above(b.matters > 0, lineStep+5) }

func (b *ratioBars) interval(c draw.Canvas, p *plot.Plot, r ratioRow, y vg.Length) {
	if r.low == nil && r.hig == nil {
		return
	}
	ink := draw.LineStyle{Color: b.th.after, Width: 1.6}
	end := func(v *float64, edge, dir vg.Length) vg.Length {
		if v == nil || *v < p.X.Min || *v > p.X.Max { // an arrow: it goes on
			c.StrokeLines(ink, []vg.Point{{X: edge - dir*4, Y: y - 3}, {X: edge, Y: y}, {X: edge - dir*4, Y: y + 3}})
			return edge
		}
		x := c.X(p.X.Norm(*v))
		c.StrokeLine2(ink, x, y-3, x, y+3)
		return x
	}
	c.StrokeLine2(ink, end(r.low, c.Min.X, -1), y, end(r.hig, c.Max.X, 1), y)
}

// stackedWords writes each row's name and figures above its bar.
type stackedWords struct {
	th      *theme
	labels  []string
	figures beside
	width   vg.Length
}

// Plot implements plot.Plotter.
func (s stackedWords) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	sty := s.th.text(s.th.ink)
	most := s.width - s.figures.width()
	x := vg.Length(0)
	for _, l := range s.labels {
		x = max(x, min(most, sty.Width(l)))
	}
	for i, l := range s.labels {
		base := y(row(i)) + 0.2*textSize
		backed(c, s.th, sty, vg.Point{X: c.Min.X - 6, Y: base}, elide(l, most, sty))
		backed(c, s.th, sty, vg.Point{X: c.Min.X + x + 4, Y: base}, s.figures.texts[i])
	}
}

// backed writes a line on a strip of paper, over lines that pass behind it.
func backed(c draw.Canvas, th *theme, sty text.Style, p vg.Point, line string) {
	e := sty.FontExtents()
	c.SetColor(th.paper)
	c.Fill(vg.Rectangle{Min: vg.Point{X: p.X, Y: p.Y - e.Descent}, Max: vg.Point{X: p.X + sty.Width(line), Y: p.Y + e.Ascent}}.Path())
	write(c, sty, p, line)
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

func drawSizeRatio(r compare.Result, o Options) *figure {
	subtitle := words.Of("Level under “%s” divided by level under “%s”, logarithmic axis", clean(r.After), clean(r.Before))
	f := newFigure(o, words.Of("Ratio after to before, by particle size"), subtitle, AltTextSizeRatio(r, o))
	var rows []ratioRow
	var labels, notes []string
	for _, e := range r.Bins {
		row := effectRow(e, o.Words)
		row.label = elide(row.label, 0.4*f.inner(), f.th.text(f.th.ink))
		rows, labels, notes = append(rows, row), append(labels, row.label), append(notes, row.note)
	}
	labels, noteText := footnotes(labels, notes)
	p := f.ratioPanel(rows, labels, 0)
	p.stretch = true
	f.plots(p)
	f.footer(sentences(words.Of("Bars: %s %% intervals. Left of 1: less dust after.", percent(r)), sensorCaption(r), words.Literal(noteText)))
	return f
}

func percent(r compare.Result) words.Number { return number(100 * r.Confidence) }

func setups(r compare.Result) string { return fmt.Sprintf("setup %q to %q", r.Before, r.After) }

// sensorCaption says where the numbers come from.
func sensorCaption(r compare.Result) words.Text {
	place := placeText(dust.Position(r.Position))
	if r.BackgroundSensor != "" {
		return words.Of("Optical sensor %s, %s; background of sensor %s subtracted.", r.Sensor, place, r.BackgroundSensor)
	}
	return words.Of("Optical sensor %s, %s.", r.Sensor, place)
}

// AltTextSizeRatio describes the picture that SizeRatio draws.
func AltTextSizeRatio(r compare.Result, o Options) string {
	var parts []words.Text
	for _, e := range r.Bins {
		parts = append(parts, words.Of("%s: %s", e.Label, effectRow(e, o.Words).text()))
	}
	return o.brief(words.Of("Ratio of the dust level under %s to that under %s by particle size, with %s %% intervals: %s.",
		r.After, r.Before, percent(r), words.Join("; ", parts...)))
}
