package plots

import (
	"cmp"
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// TaskDose draws, shift by shift, how the measured dose was shared out among
// tasks. The error wraps dust.ErrNoReadings if no shift has shares.
func TaskDose(w io.Writer, r exposure.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	p := newDosePlot(r, o)
	if len(p.tasks) == 0 {
		return fmt.Errorf("draw dose by task: %w", dust.ErrNoReadings)
	}
	return o.write(w, p.draw())
}

// dosePlot is an exposure result sorted for drawing.
type dosePlot struct {
	r      exposure.Result
	tasks  []string               // as stacked; the time without a task, "", comes last
	shifts []exposure.ShiftResult // with at least one share
	none   int                    // shifts without
	labels []string
	o      Options
}

func newDosePlot(r exposure.Result, o Options) *dosePlot {
	p := &dosePlot{r: r, o: o}
	sensors := map[string]bool{}
	for _, s := range r.Shifts {
		sensors[s.Sensor] = true
	}
	for _, s := range r.Shifts {
		shares := 0
		for _, t := range s.TaskDoseShares {
			if !(t.Share > 0) || math.IsInf(t.Share, 0) {
				continue
			}
			shares++
			if !slices.Contains(p.tasks, t.Task) {
				p.tasks = append(p.tasks, t.Task)
			}
		}
		if shares == 0 {
			p.none++
			continue
		}
		name := o.Words.Text(shortDate(s.Date))
		if len(sensors) > 1 {
			name += ", " + clean(s.Sensor)
		}
		p.shifts, p.labels = append(p.shifts, s), append(p.labels, name)
	}
	if i := slices.Index(p.tasks, ""); i >= 0 {
		p.tasks = append(slices.Delete(p.tasks, i, i+1), "")
	}
	return p
}

// look is how task i's part of a bar is filled: a colour and a hatching that
// together are its own.
func (p *dosePlot) look(th *theme, i int) (color.NRGBA, int) {
	if p.tasks[i] == "" {
		return th.rest, 0
	}
	return th.fills[i%len(th.fills)], i % 4
}

// calls name task i, from long to short.
func (p *dosePlot) calls(i int) []string {
	if p.tasks[i] == "" {
		return []string{p.o.Words.Say("no task")}
	}
	n := strconv.Itoa(i + 1)
	return []string{n + " " + clean(p.tasks[i]), n}
}

func (p *dosePlot) draw() *figure {
	o := p.o
	f := newFigure(o, words.Of("Which task brought the dust, shift by shift"),
		words.Of("Share of the measured dose by task, %% (%s by optical sensor)", metricLabel(p.r.Metric)), AltTextTaskDose(p.r, o))
	pl := f.newPlot()
	means := beside{th: f.th, ink: f.th.ink, heading: o.Words.Say("8-h mean")}
	var labels []string
	for i, s := range p.shifts {
		labels = append(labels, elide(p.labels[i], 0.3*f.o.Width, f.th.text(f.th.ink)))
		means.texts, means.y = append(means.texts, f.say(twaText(s))), append(means.y, row(i))
	}
	names(&pl.Y, labels, f.th.ink)
	pl.X.Min, pl.X.Max, pl.X.LineStyle.Width = 0, 1, 0
	pl.Add(f.grid(true, false), shareBars{p, f.th}, means)
	pl.X.Tick.Marker = plot.ConstantTicks{{Value: 0, Label: "0"}, {Value: 0.5, Label: "50"}, {Value: 1, Label: "100 %"}}
	if dataArea(pl, f.inner()).Size().X > 110 {
		pl.X.Tick.Marker = plot.ConstantTicks{{Value: 0, Label: "0"}, {Value: 0.25, Label: "25"}, {Value: 0.5, Label: "50"}, {Value: 0.75, Label: "75"}, {Value: 1, Label: "100 %"}}
	}
	each := 22.0
	if len(p.shifts) > 14 {
		each = 13
	}
	f.plots(panel{Plot: pl, data: vg.Length(each * float64(len(p.shifts))), stretch: true})
	f.footer(p.caption(), p.legend(f.th))
	return f
}

func twaText(s exposure.ShiftResult) words.Text {
	if s.TWA8h == nil {
		return words.Literal("–")
	}
	if v := *s.TWA8h; v >= 0.001 && v < 10 {
		return words.Of("%s mg/m³", words.Fixed(v, 3))
	}
	return words.Of("%s mg/m³", number(*s.TWA8h))
}

func (p *dosePlot) shares(s exposure.ShiftResult) (shares []float64, total float64) {
	shares = make([]float64, len(p.tasks))
	for _, t := range s.TaskDoseShares {
		if t.Share > 0 && !math.IsInf(t.Share, 0) {
			shares[slices.Index(p.tasks, t.Task)] += t.Share
			total += t.Share
		}
	}
	return shares, total
}

// shareBars draws each shift's shares as one bar, stacked in the order of the
// legend. gonum's bar charts know no hatching and no words on bars.
type shareBars struct {
	*dosePlot
	th *theme
}

// Plot implements plot.Plotter. All parts of a task are one path, which keeps
// the file small.
func (b shareBars) Plot(c draw.Canvas, p *plot.Plot) {
	for i, parts := range b.parts(c, p) {
		fill, kind := b.look(b.th, i)
		var outlines, lines vg.Path
		for _, r := range parts {
			outlines = append(outlines, r.Path()...)
			lines = append(lines, hatch(r, kind)...)
		}
		if len(parts) > 0 {
			paintPart(c, b.th, fill, outlines, lines)
		}
		b.label(c, parts, b.calls(i), fill, kind > 0)
	}
}

func paintPart(c draw.Canvas, th *theme, fill color.Color, outlines, lines vg.Path) {
	c.SetColor(fill)
	c.Fill(outlines)
	if len(lines) > 0 {
		c.SetLineStyle(draw.LineStyle{Color: th.hatch, Width: 0.5})
		c.Stroke(lines)
	}
	c.SetLineStyle(draw.LineStyle{Color: th.ink, Width: 0.6})
	c.Stroke(outlines)
}

// parts are the boxes of each task.
func (b shareBars) parts(c draw.Canvas, p *plot.Plot) [][]vg.Rectangle {
	x, y := p.Transforms(&c)
	out := make([][]vg.Rectangle, len(b.tasks))
	for k, s := range b.shifts {
		shares, total := b.shares(s)
		at := 0.0
		for i := range b.tasks {
			if shares[i] > 0 {
				// Shares add up to 1; should they add up to more, they still end at the edge.
				next := at + shares[i]/math.Max(total, 1)
				out[i] = append(out[i], vg.Rectangle{Min: vg.Point{X: x(at), Y: y(row(k) - 0.38)}, Max: vg.Point{X: x(next), Y: y(row(k) + 0.38)}})
				at = next
			}
		}
	}
	return out
}

// label writes the longest of the texts that has room into each part of a task.
func (b shareBars) label(c draw.Canvas, parts []vg.Rectangle, texts []string, fill color.Color, hatched bool) {
	sty := b.th.text(b.th.ink)
	var behind vg.Path
	type written struct {
		at   vg.Point
		text string
	}
	var list []written
	for _, r := range parts {
		k := slices.IndexFunc(texts, func(s string) bool { return sty.Width(s)+6 <= r.Size().X && r.Size().Y >= textSize })
		if k < 0 {
			continue
		}
		w := sty.Width(texts[k])
		at := vg.Point{X: (r.Min.X + r.Max.X - w) / 2, Y: (r.Min.Y+r.Max.Y)/2 - 0.33*textSize}
		list = append(list, written{at, texts[k]})
		behind = append(behind, vg.Rectangle{Min: vg.Point{X: at.X - 1.5, Y: max(at.Y-1.5, r.Min.Y+0.5)}, Max: vg.Point{X: at.X + w + 1.5, Y: min(at.Y+7.5, r.Max.Y-0.5)}}.Path()...)
	}
	if hatched && len(behind) > 0 { // no hatching behind words
		c.SetColor(fill)
		c.Fill(behind)
	}
	for _, l := range list {
		write(c, sty, l.at, l.text)
	}
}

func (p *dosePlot) legend(th *theme) []entry {
	var out []entry
	for i := range p.tasks {
		fill, kind := p.look(th, i)
		out = append(out, entry{words.Literal(p.calls(i)[0]), thumbnail(func(c *draw.Canvas) {
			paintPart(*c, th, fill, c.Rectangle.Path(), hatch(c.Rectangle, kind))
		})})
	}
	return out
}

func (p *dosePlot) caption() words.Text {
	parts := []words.Text{words.Of("Shares of the dose measured in each shift; time not measured is in none. Right: mean over 8 hours (TWA).")}
	if p.none > 0 {
		parts = append(parts, words.Plural(p.none, "%d shift without measured dose not shown.", "%d shifts without measured dose not shown.", p.none))
	}
	return sentences(parts...)
}

// AltTextTaskDose describes the picture that TaskDose draws.
func AltTextTaskDose(r exposure.Result, o Options) string {
	p := newDosePlot(r, o)
	var parts []words.Text
	for i, s := range p.shifts {
		var best exposure.TaskDose
		for _, t := range s.TaskDoseShares {
			if t.Share > best.Share {
				best = t
			}
		}
		parts = append(parts, words.Of("%s mostly %s (%.0f %%)", p.labels[i], cmp.Or(clean(best.Task), o.Words.Say("no task")), 100*best.Share))
		if len(parts) == 7 && len(p.shifts) > 8 {
			parts = append(parts, words.Of("and %d more shifts", len(p.shifts)-7))
			break
		}
	}
	n := len(p.shifts)
	return o.brief(words.Plural(n, "Share of the measured dose by task in %d shift. %s.", "Share of the measured dose by task in %d shifts. %s.", n, words.Join("; ", parts...)))
}
