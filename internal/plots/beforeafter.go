package plots

import (
	"cmp"
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
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
	r        rect
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

func metricLabel(metric string) string {
	if c, err := dust.ParseMetric(metric); err == nil {
		return c.Label()
	}
	return metric
}

func (b *sessionsPlot) title() string {
	return fmt.Sprintf("%s before and after: %s", metricLabel(b.r.Metric), b.r.Verdict)
}

func (b *sessionsPlot) row() ratioRow {
	return ratioRow{label: "Ratio after to before", ratio: positive(b.r.Ratio), low: positive(b.r.CILow), hig: positive(b.r.CIHigh)}
}

func (b *sessionsPlot) draw() *drawing {
	subtitle := fmt.Sprintf("%s by optical sensor, %s, logarithmic axis; one mark is one session", metricLabel(b.r.Metric), b.r.Unit)
	f := newFigure(b.o, b.title(), subtitle, AltTextBeforeAfter(b.r))
	f.setFooter(nil, b.caption())
	lo, hi := span(b.values(), b.floor)
	s, ticks := logScale(lo, hi, 6)
	x0, x1 := margin+labelWidth(ticks)+4, f.w-margin-2
	middle := (x0 + x1) / 2
	b.before.r, b.after.r = rect{x0, 0, middle - 6, 0}, rect{middle + 6, 0, x1, 0}
	head := math.Max(b.headHeight(f, b.before), b.headHeight(f, b.after))

	row := []ratioRow{b.row()}
	names := []string{row[0].label}
	p := f.ratioPanel(row, names, 0)
	below := lineStep + 3 + 12 + p.row + 3 + 2*lineStep
	h := f.panelHeight(math.Min(150, 0.5*f.w), head+below)
	top := f.top + head
	s.p0, s.p1 = top+h, top
	b.before.r.y0, b.before.r.y1, b.after.r.y0, b.after.r.y1 = top, top+h, top, top+h
	f.yAxis(rect{x0, top, x1, top + h}, s, ticks)
	b.drawHalf(f, b.before, s, openCircle)
	b.drawHalf(f, b.after, s, filledSquare)

	p.r.y0 = top + h + lineStep + 3 + 12
	p.r.y1 = p.r.y0 + p.row
	return f.finish(b.drawRatio(f, p, row, names))
}

// headLines are the words above a half: setup, sessions, geometric mean.
func (b *sessionsPlot) headLines(f *figure, h half) []string {
	lines := capLines(wrap(h.name, h.r.w()-14, textSize, true), 2, h.r.w()-14, textSize, true)
	if len(lines) == 0 {
		lines = []string{"(no setup)"}
	}
	count := plural(len(h.sessions), "session")
	mean := "no geometric mean"
	if h.mean != nil {
		mean = "geometric mean " + number(*h.mean) + " " + b.r.Unit
	}
	return append(lines, wrap(count+", "+mean, h.r.w(), textSize, false)...)
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

func (b *sessionsPlot) headHeight(f *figure, h half) float64 {
	return float64(len(b.headLines(f, h)))*lineStep + 5
}

func (b *sessionsPlot) drawHalf(f *figure, h half, s scale, kind markKind) {
	ink, role, dash := f.th.before, "before", []float64{7, 3}
	if kind == filledSquare {
		ink, role, dash = f.th.after, "after", nil
	}
	lines := b.headLines(f, h)
	y := h.r.y0 - float64(len(lines))*lineStep - 3
	named := len(capLines(wrap(h.name, h.r.w()-14, textSize, true), 2, h.r.w()-14, textSize, true))
	f.mark("legend", kind, point{h.r.x0 + 4, y + 0.55*textSize}, 3.4, ink, f.th.paper)
	for i, line := range lines {
		l := label{text: line, at: point{h.r.x0, y + ascent*textSize}, color: f.th.ink}
		if i < max(named, 1) {
			l.bold, l.at.x = true, h.r.x0+14
		}
		f.text(l)
		y += lineStep
	}
	f.base(h.r)
	if h.mean != nil {
		at := s.pos(*h.mean)
		f.line("mean", pen{color: ink, width: 1.8, dash: dash}, point{h.r.x0, at}, point{h.r.x1, at})
	}
	b.drawPoints(f, h, s, kind, ink, role)
}

func (b *sessionsPlot) drawPoints(f *figure, h half, s scale, kind markKind, ink color.NRGBA, role string) {
	end := math.Inf(-1)
	slot := h.r.w() / float64(max(len(h.sessions), 1))
	radius := math.Min(3.6, math.Max(1.8, slot/2.6))
	for i, session := range h.sessions {
		x := h.r.x0 + (float64(i)+0.5)*slot
		if v := *session.Adjusted; v < b.floor {
			f.mark(role, downTriangle, point{x, h.r.y1 - 4}, radius, ink, f.th.paper)
		} else {
			f.mark(role, kind, point{x, s.pos(v)}, radius, ink, f.th.paper)
		}
		l := label{text: shortDate(session.Date), at: point{x, h.r.y1 + 3 + ascent*textSize}, align: centre, color: f.th.muted}
		box := l.box()
		if box.x0 < end+4 || box.x0 < h.r.x0-10 || box.x1 > h.r.x1+5 {
			continue
		}
		end = box.x1
		f.text(l)
	}
}

// shortDate prints 2006-01-02 as 2 Jan; other text stays as it is.
func shortDate(s string) string {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return clean(s)
	}
	return t.Format("2 Jan")
}

// drawRatio draws the ratio's row, the smallest change that matters and the
// axis. It returns the next free y.
func (b *sessionsPlot) drawRatio(f *figure, p ratioPanel, row []ratioRow, names []string) float64 {
	matters := 1 - b.r.SmallestChange/100
	var extra []float64
	if matters > 0 && matters < 1 {
		extra = []float64{matters}
	}
	s, ticks := ratioScale(row, int(p.r.w()/34), extra...)
	s.p0, s.p1 = p.r.x0, p.r.x1
	y := f.xAxis(p.r, s, ticks)
	f.base(p.r)
	if len(extra) > 0 {
		x := s.pos(matters)
		f.line("matters", pen{color: f.th.muted, width: 1, dash: []float64{2, 2}}, point{x, p.r.y0}, point{x, p.r.y1})
	}
	f.drawRatios(p, row, names, s)
	return f.sideNotes(p.r, y)
}

func (b *sessionsPlot) caption() string {
	r := b.r
	parts := []string{"Marks: mean of a session, adjusted for its tasks; level lines: geometric means."}
	if ratio := b.row(); ratio.ratio != nil {
		parts = append(parts, fmt.Sprintf("Brackets: %s %% interval of the ratio.", percent(r)))
	}
	if m := r.SmallestChange; m > 0 && m < 100 {
		parts = append(parts, fmt.Sprintf("Dotted line: the smallest reduction that matters, %s %%.", number(m)))
	}
	if b.leftOut > 0 {
		parts = append(parts, plural(b.leftOut, "session")+" left out.")
	}
	if b.floor > 0 {
		parts = append(parts, fmt.Sprintf("Triangles: below %s %s, drawn at the lower edge.", number(b.floor), r.Unit))
	}
	return strings.Join(append(parts, sensorCaption(r)), " ")
}

// AltTextBeforeAfter describes the picture that BeforeAfter draws.
func AltTextBeforeAfter(r compare.Result) string {
	b := newSessionsPlot(r, Options{})
	text := fmt.Sprintf("%s in %s under %s (before) and %s under %s (after): geometric means %s and %s %s.",
		metricLabel(r.Metric), plural(len(b.before.sessions), "session"), r.Before, plural(len(b.after.sessions), "session"), r.After,
		levelText(b.before.mean), levelText(b.after.mean), r.Unit)
	if row := b.row(); row.ratio != nil {
		text += fmt.Sprintf(" Ratio after to before %s, %s %% interval %s to %s: %s.", number(*row.ratio), percent(r), boundText(row.low), boundText(row.hig), r.Verdict)
	} else {
		text += fmt.Sprintf(" No ratio: %s.", r.Verdict)
	}
	return clean(text)
}
