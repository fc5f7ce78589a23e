package plots

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// BeforeAfter draws every session as a point under its setup, the geometric
// means, the ratio with its interval and the verdict in words. The error wraps
// dust.ErrNoReadings if no session has a value.
func BeforeAfter(w io.Writer, r compare.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	b := newSessionsPlot(r, o)
	if len(b.before.sessions)+len(b.after.sessions) == 0 {
		return fmt.Errorf("draw sessions, %s: %w", setups(r), dust.ErrNoReadings)
	}
	return o.write(w, b.draw())
}

// half is the left or right part of the picture: one setup.
type half struct {
	name     string
	sessions []compare.Session // with a value, in time order
	mean     *float64
}

type sessionsPlot struct {
	r             compare.Result
	o             Options
	before, after half
	leftOut       int
	floor         float64
}

func newSessionsPlot(r compare.Result, o Options) *sessionsPlot {
	b := &sessionsPlot{r: r, o: o}
	b.before = half{name: clean(r.Before), mean: positive(r.GMBefore)}
	b.after = half{name: clean(r.After), mean: positive(r.GMAfter)}
	for _, s := range r.Sessions {
		switch {
		case !finite(s.Adjusted):
			b.leftOut++
		case s.Setup == r.Before:
			b.before.sessions = append(b.before.sessions, s)
		case s.Setup == r.After:
			b.after.sessions = append(b.after.sessions, s)
		}
	}
	for _, h := range []*half{&b.before, &b.after} {
		slices.SortStableFunc(h.sessions, func(x, y compare.Session) int {
			return cmp.Or(x.Start.Compare(y.Start), strings.Compare(x.Date, y.Date))
		})
	}
	b.floor = floorOf(b.values())
	return b
}

// values are all that the level axis must cover.
func (b *sessionsPlot) values() []float64 {
	var v []float64
	for _, h := range []half{b.before, b.after} {
		for _, s := range h.sessions {
			v = append(v, *s.Adjusted)
		}
		if h.mean != nil {
			v = append(v, *h.mean)
		}
	}
	return v
}

func metricLabel(metric string) words.Text {
	if c, err := dust.ParseMetric(metric); err == nil {
		return exposure.ChannelText(c)
	}
	return words.Literal(metric)
}

func (b *sessionsPlot) title() words.Text {
	return words.Of("%s before and after: %s", metricLabel(b.r.Metric), b.r.Verdict.Text())
}

func (b *sessionsPlot) ratio() ratioRow {
	return ratioRow{label: b.o.Words.Say("Ratio after to before"), ratio: positive(b.r.Ratio), low: positive(b.r.CILow), hig: positive(b.r.CIHigh)}
}

func (b *sessionsPlot) draw() *figure {
	subtitle := words.Of("%s by optical sensor, %s, logarithmic axis; one mark is one session", metricLabel(b.r.Metric), b.r.Unit)
	f := newFigure(b.o, b.title(), subtitle, AltTextBeforeAfter(b.r, b.o))
	before, after := f.newPlot(), f.newPlot()
	lo, hi := span(b.values(), b.floor)
	ticks := logTicks{most: 6, words: f.o.Words}
	setLog(&before.Y, lo, hi, ticks)
	setLog(&after.Y, lo, hi, blank{ticks})
	width := (dataArea(before, f.inner()).Size().X-columnGap)/2 - 6
	dashed := draw.LineStyle{Color: f.th.before, Width: 1.8, Dashes: []vg.Length{7, 3}}
	b.fill(f, before, b.before, f.th.beforeMark(), dashed, width)
	b.fill(f, after, b.after, f.th.afterMark(), draw.LineStyle{Color: f.th.after, Width: 1.8}, width)
	data := max(leastRoom, min(150, 0.5*f.o.Width))
	f.plots(panel{Plot: before, data: data, stretch: true}, panel{Plot: after})
	f.space(8)
	row := b.ratio()
	f.plots(f.ratioPanel([]ratioRow{row}, []string{row.label}, b.matters()))
	f.footer(b.caption())
	return f
}

// matters is the ratio that the smallest change that matters comes to; 0 if none.
func (b *sessionsPlot) matters() float64 {
	if m := b.r.SmallestChange; m > 0 && m < 100 {
		return 1 - m/100
	}
	return 0
}

// blank takes the words off ticks, so that a plot has level lines like its
// neighbour's, but no numbers.
type blank struct{ plot.Ticker }

// Ticks implements plot.Ticker.
func (t blank) Ticks(lo, hi float64) []plot.Tick {
	ticks := t.Ticker.Ticks(lo, hi)
	for i := range ticks {
		ticks[i].Label = " " // with none at all it would be a minor tick
	}
	return ticks
}

// fill puts a setup's sessions, its mean and the words above them into a plot
// whose data area is about width wide.
func (b *sessionsPlot) fill(f *figure, p *plot.Plot, h half, sty draw.GlyphStyle, line draw.LineStyle, width vg.Length) {
	n := len(h.sessions)
	p.X.Min, p.X.Max = -0.5, float64(max(n, 1))-0.5
	p.X.Tick.Marker = dateTicks(h.sessions, width, p.X.Tick.Label, b.o.Words)
	p.Add(f.grid(false, true))
	if h.mean != nil {
		p.Add(rule(line, p.X.Min, *h.mean, p.X.Max, *h.mean))
	}
	points, low := make(plotter.XYs, n), make([]bool, n)
	for i, s := range h.sessions {
		points[i], low[i] = plotter.XY{X: float64(i), Y: math.Max(*s.Adjusted, b.floor)}, *s.Adjusted < b.floor
	}
	mark := sty
	sty.Radius = min(sty.Radius, max(1.8, width/vg.Length(max(n, 1))/2.6))
	p.Add(marks(points, sty, low, pointDown), b.headOf(f.th, h, mark, width))
}

// dateTicks names the days of as many sessions as have room.
func dateTicks(sessions []compare.Session, width vg.Length, sty text.Style, say *words.Printer) plot.ConstantTicks {
	widest := vg.Length(0)
	labels := make([]string, len(sessions))
	for i, s := range sessions {
		labels[i] = elide(say.Text(shortDate(s.Date)), width, sty)
		widest = max(widest, sty.Width(labels[i]))
	}
	slot := width / vg.Length(max(len(sessions), 1))
	every := max(1, int(math.Ceil(float64((widest+4)/slot))))
	var ticks plot.ConstantTicks
	for i := (every - 1) / 2; i < len(sessions); i += every {
		if over := widest/2 - (vg.Length(len(sessions)-i)-0.5)*slot; over < 4 {
			ticks = append(ticks, plot.Tick{Value: float64(i), Label: labels[i]})
		}
	}
	return ticks
}

// shortDate prints 2006-01-02 as 2 Jan; other text stays as it is.
func shortDate(s string) words.Text {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return words.Literal(clean(s))
	}
	return words.Time(t, "2 Jan").Text()
}

// head is the words above a half: the setup with its mark, then its numbers.
type head struct {
	th            *theme
	mark          draw.GlyphStyle
	names, counts []string
}

const markRoom = 14.0

func (b *sessionsPlot) headOf(th *theme, h half, mark draw.GlyphStyle, width vg.Length) head {
	name, mean := cmp.Or(h.name, b.o.Words.Say("(no setup named)")), words.Of("no geometric mean")
	if h.mean != nil {
		mean = words.Of("geometric mean %s %s", number(*h.mean), b.r.Unit)
	}
	names := capLines(wrap(name, width-markRoom, th.bold()), 2, width-markRoom, th.bold())
	return head{th, mark, names, wrap(b.o.Words.Say("%s, %s", sessionCount(len(h.sessions)), mean), width, th.text(th.ink))}
}

func (h head) height() vg.Length { return vg.Length(len(h.names)+len(h.counts))*lineStep + 5 }

// GlyphBoxes implements plot.GlyphBoxer.
func (h head) GlyphBoxes(*plot.Plot) []plot.GlyphBox { return above(true, h.height()) }

// Plot implements plot.Plotter.
func (h head) Plot(c draw.Canvas, _ *plot.Plot) {
	at := vg.Point{X: c.Min.X, Y: c.Max.Y + h.height() - 0.9*textSize}
	c.DrawGlyphNoClip(h.mark, at.Add(vg.Point{X: 4, Y: 0.3 * textSize}))
	for _, line := range h.names {
		write(c, h.th.bold(), at.Add(vg.Point{X: markRoom}), line)
		at.Y -= lineStep
	}
	for _, line := range h.counts {
		write(c, h.th.text(h.th.ink), at, line)
		at.Y -= lineStep
	}
}

func (b *sessionsPlot) caption() words.Text {
	r := b.r
	parts := []words.Text{words.Of("Marks: mean of a session, adjusted for its tasks; level lines: geometric means.")}
	if ratio := b.ratio(); ratio.ratio != nil && (ratio.low != nil || ratio.hig != nil) {
		parts = append(parts, words.Of("Brackets: %s %% interval of the ratio.", percent(r)))
	}
	if m := r.SmallestChange; m > 0 && m < 100 {
		parts = append(parts, words.Of("Dotted line: the smallest reduction that matters, %s %%.", number(m)))
	}
	if b.leftOut > 0 {
		parts = append(parts, words.Plural(b.leftOut, "%d session left out.", "%d sessions left out.", b.leftOut))
	}
	if b.floor > 0 {
		parts = append(parts, words.Of("Triangles: below %s %s, drawn at the lower edge.", number(b.floor), r.Unit))
	}
	return sentences(append(parts, sensorCaption(r))...)
}

// AltTextBeforeAfter describes the picture that BeforeAfter draws.
func AltTextBeforeAfter(r compare.Result, o Options) string {
	b := newSessionsPlot(r, o)
	text := words.Of("%s in %s under %s (before) and %s under %s (after): geometric means %s and %s %s.",
		metricLabel(r.Metric), sessionCount(len(b.before.sessions)), r.Before, sessionCount(len(b.after.sessions)), r.After,
		levelText(b.before.mean), levelText(b.after.mean), r.Unit)
	if row := b.ratio(); row.ratio != nil {
		text = sentences(text, words.Of("Ratio after to before %s, %s %% interval %s to %s: %s.", ratioNumber(*row.ratio), percent(r), boundText(row.low), boundText(row.hig), r.Verdict.Text()))
	} else {
		text = sentences(text, words.Of("No ratio: %s.", r.Verdict.Text()))
	}
	return o.brief(text)
}
