package plots

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Probability draws the shifts of each group against the share of shifts at or
// below them, so that a log-normal group is a straight line, with the fitted line,
// the 95th percentile, its upper tolerance limits and the limit. The error wraps
// dust.ErrNoReadings if no group has a shift.
func Probability(w io.Writer, groups []exposure.GroupResult, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	groups = drawable(groups)
	if len(groups) == 0 {
		return fmt.Errorf("draw shifts as a probability plot: %w", dust.ErrNoReadings)
	}
	return o.write(w, drawProbability(groups, o))
}

// drawable are the groups with at least one point.
func drawable(groups []exposure.GroupResult) (out []exposure.GroupResult) {
	for _, g := range groups {
		if len(g.Plot) > 0 {
			out = append(out, g)
		}
	}
	return out
}

func drawProbability(groups []exposure.GroupResult, o Options) *figure {
	f := newFigure(o, words.Of("Shifts and what other days may bring"), words.Of("Mean of a shift, mg/m³ (logarithmic axis), over the share of shifts at or below it (normal probability axis)"), AltTextProbability(groups, o))
	var legend struct{ below, limit, upper bool }
	for i, g := range groups {
		if i > 0 {
			f.space(6)
		}
		head := f.th.bold()
		f.words(capLines(wrap(f.say(groupName(g)), f.inner(), head), 2, f.inner(), head), head)
		sty := f.th.text(f.th.ink)
		f.words(capLines(wrap(f.say(groupFigures(g)), f.inner(), sty), 4, f.inner(), sty), sty)
		f.space(6)
		f.plots(f.probabilityPanel(g))
		for _, p := range g.Plot {
			legend.below = legend.below || p.Below
		}
		legend.limit = legend.limit || positive(g.LimitMgM3) != nil
		legend.upper = legend.upper || positive(g.UTL95_70) != nil || positive(g.UTL95_95) != nil
	}
	entries := []entry{{words.Of("a shift"), markSample(f.th.afterMark())}, {words.Of("fitted log-normal line"), lineSample(f.th.meanLine())}}
	if legend.below {
		entries = append(entries, entry{words.Of("a shift below detection: at most this"), markSample(f.th.belowMark())})
	}
	if legend.upper {
		entries = append(entries, entry{words.Of("95th percentile, up to its upper tolerance limits"), thumbnail(func(c *draw.Canvas) {
			y := (c.Min.Y + c.Max.Y) / 2
			c.StrokeLine2(f.th.toleranceLine(), c.Min.X+3, y, c.Max.X-3, y)
			c.StrokeLine2(f.th.toleranceLine(), c.Max.X-3, y-3, c.Max.X-3, y+3)
		})})
	}
	if legend.limit {
		entries = append(entries, entry{words.Of("limit"), lineSample(f.th.limitLine())})
	}
	f.footer(words.Of("The days are the sample: the same person at the same kind of work. UTL95,70 and UTL95,95: with 70 %% and 95 %% confidence 95 %% of such days lie below. A straight line of marks fits a log-normal group."), entries)
	return f
}

func (t *theme) belowMark() draw.GlyphStyle {
	return draw.GlyphStyle{Color: t.before, Radius: 3.4, Shape: triangle{pointDown}}
}

func (t *theme) toleranceLine() draw.LineStyle { return draw.LineStyle{Color: t.before, Width: 1.6} }

func groupName(g exposure.GroupResult) words.Text {
	if g.Setup != "" {
		return words.Of("%s, sensor %s", clean(g.Setup), clean(g.Sensor)).Capital()
	}
	return words.Of("Sensor %s", clean(g.Sensor))
}

func groupFigures(g exposure.GroupResult) words.Text {
	parts := []words.Text{shiftCount(g.Days)}
	for _, x := range []struct {
		name words.Text
		unit string
		v    *float64
	}{{words.Of("geometric mean"), " mg/m³", g.GM}, {words.Of("geometric standard deviation"), "", g.GSD}, {words.Of("95th percentile"), " mg/m³", g.P95}, {words.Literal("UTL95,70"), " mg/m³", g.UTL95_70}, {words.Literal("UTL95,95"), " mg/m³", g.UTL95_95}, {words.Of("limit"), " mg/m³", g.LimitMgM3}} {
		if finite(x.v) {
			parts = append(parts, words.Of("%s %s%s", x.name, number(*x.v), x.unit))
		}
	}
	return words.Of("%s. Finding: %s. Values: %s.", words.Join("; ", parts...), g.Finding.Text(), g.Values)
}

// probabilityPanel plots one group. Limits far above the marks are only told in
// words: a limit ten times as high would press the marks flat.
func (f *figure) probabilityPanel(g exposure.GroupResult) panel {
	p := f.newPlot()
	b := &probabilityMarks{g: g, th: f.th}
	lo, hi := math.Inf(1), math.Inf(-1)
	cover := func(v *float64) {
		if v = positive(v); v != nil {
			lo, hi = math.Min(lo, *v), math.Max(hi, *v)
		}
	}
	low, high := -1.8, 1.8
	for _, x := range g.Plot {
		cover(&x.MgM3)
		cover(x.Fitted)
		low, high = math.Min(low, x.Z-0.15), math.Max(high, x.Z+0.15)
	}
	cover(g.P95)
	if math.IsInf(lo, 1) {
		lo, hi = sensorStep/1000, sensorStep/1000 // no shift above zero
	}
	most := 30 * hi
	for _, v := range []*float64{g.UTL95_70, g.UTL95_95, g.LimitMgM3} {
		if v = positive(v); v != nil && *v <= most {
			cover(v)
		}
	}
	setLog(&p.Y, lo, hi, logTicks{most: 6, words: f.o.Words})
	p.X.Min, p.X.Max, p.X.Tick.Marker = low, high, plot.ConstantTicks{}
	width := dataArea(p, f.inner()).Size().X
	p.X.Tick.Marker = shareTicks(low, high, width, p.X)
	p.Add(f.grid(true, true), b)
	return panel{Plot: p, data: max(leastRoom, min(135, 0.42*f.o.Width)), stretch: true, right: f.o.Words.Say("Share of shifts at or below, %%")}
}

// shareTicks marks round shares on an axis of standard normal quantiles,
// z = √2·erf⁻¹(2p − 1).
func shareTicks(lo, hi float64, width vg.Length, a plot.Axis) plot.ConstantTicks {
	var ticks []plot.Tick
	for _, percent := range []float64{1, 5, 10, 20, 30, 50, 70, 80, 90, 95, 99} {
		if z := quantile(percent / 100); z >= lo && z <= hi {
			ticks = append(ticks, plot.Tick{Value: z, Label: strconv.FormatFloat(percent, 'f', -1, 64)})
		}
	}
	norm := func(v float64) float64 { return (v - lo) / (hi - lo) }
	return apart(ticks, norm, width, 6, a.Tick.Label)
}

func quantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// probabilityMarks draws the shifts, the fitted line, the percentile with its
// tolerance limits, and the limit.
type probabilityMarks struct {
	g  exposure.GroupResult
	th *theme
}

// Plot implements plot.Plotter.
func (b *probabilityMarks) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	y := func(v float64) vg.Length { return toY(math.Min(math.Max(v, p.Y.Min), p.Y.Max)) }
	if l := positive(b.g.LimitMgM3); l != nil && *l >= p.Y.Min && *l <= p.Y.Max {
		c.StrokeLine2(b.th.limitLine(), c.Min.X, y(*l), c.Max.X, y(*l))
	}
	b.line(c, p, toX, y)
	b.tolerance(c, p, toX, y)
	for _, x := range b.g.Plot {
		mark := b.th.afterMark()
		if x.Below || !(x.MgM3 > 0) {
			mark = b.th.belowMark()
		}
		c.DrawGlyphNoClip(mark, vg.Point{X: toX(x.Z), Y: y(x.MgM3)})
	}
}

// line draws GM·GSD^z over the whole axis.
func (b *probabilityMarks) line(c draw.Canvas, p *plot.Plot, x func(float64) vg.Length, y func(float64) vg.Length) {
	gm, gsd := positive(b.g.GM), positive(b.g.GSD)
	if gm == nil || gsd == nil || len(b.g.Plot) < 2 {
		return
	}
	const points = 60
	var path vg.Path
	pen := false
	for i := range points + 1 {
		z := p.X.Min + (p.X.Max-p.X.Min)*float64(i)/points
		v := *gm * math.Pow(*gsd, z)
		if v < p.Y.Min || v > p.Y.Max {
			pen = false
			continue
		}
		at := vg.Point{X: x(z), Y: y(v)}
		if pen {
			path.Line(at)
		} else {
			path.Move(at)
		}
		pen = true
	}
	stroke(c, b.th.meanLine(), path)
}

// tolerance stands at the 95th percentile: from the estimate up to both limits; an
// arrow where one lies above the plot.
func (b *probabilityMarks) tolerance(c draw.Canvas, p *plot.Plot, x func(float64) vg.Length, y func(float64) vg.Length) {
	from := positive(b.g.P95)
	if from == nil || positive(b.g.UTL95_70) == nil && positive(b.g.UTL95_95) == nil {
		return
	}
	at := x(quantile(0.95))
	sty := b.th.toleranceLine()
	top := y(*from)
	for _, v := range []*float64{positive(b.g.UTL95_70), positive(b.g.UTL95_95)} {
		switch {
		case v == nil:
		case *v > p.Y.Max:
			top = c.Max.Y
			c.StrokeLines(sty, []vg.Point{{X: at - 3, Y: top - 4}, {X: at, Y: top}, {X: at + 3, Y: top - 4}})
		default:
			top = max(top, y(*v))
			c.StrokeLine2(sty, at-3, y(*v), at+3, y(*v))
		}
	}
	c.StrokeLine2(sty, at, y(*from), at, top)
	c.StrokeLine2(sty, at-3, y(*from), at+3, y(*from))
}

// AltTextProbability describes the picture that Probability draws.
func AltTextProbability(groups []exposure.GroupResult, o Options) string {
	parts := []words.Text{words.Of("Probability plot of shifts with the fitted log-normal line.")}
	for _, g := range drawable(groups) {
		parts = append(parts, words.Of("%s: %s", groupName(g), groupFigures(g)))
	}
	return o.brief(sentences(parts...))
}

// CSVProbability writes what Probability draws.
func CSVProbability(w io.Writer, groups []exposure.GroupResult) error {
	rows := [][]string{{"what", "sensor", "setup", "date", "value", "unit", "below_detection", "share_at_or_below", "normal_quantile", "fitted_mg_m3"}}
	for _, g := range drawable(groups) {
		for _, p := range g.Plot {
			rows = append(rows, []string{"shift", g.Sensor, g.Setup, p.Label, exact(&p.MgM3), "mg/m³", strconv.FormatBool(p.Below), exact(&p.Position), exact(&p.Z), exact(p.Fitted)})
		}
		for _, x := range []struct {
			what, unit string
			v          *float64
		}{{"geometric_mean", "mg/m³", g.GM}, {"geometric_standard_deviation", "1", g.GSD}, {"p95", "mg/m³", g.P95}, {"utl95_70", "mg/m³", g.UTL95_70}, {"utl95_95", "mg/m³", g.UTL95_95}, {"limit", "mg/m³", g.LimitMgM3}} {
			rows = append(rows, []string{x.what, g.Sensor, g.Setup, "", exact(x.v), x.unit, "", "", "", ""})
		}
	}
	return table(w, rows)
}
