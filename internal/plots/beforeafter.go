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

// ratioGap parts the sessions from the ratio below them; one line of text fits.
const ratioGap = 22.0

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
	f.setFooter(b.caption())
	lo, hi := span(b.values(), b.floor)
	s, ticks := logScale(lo, hi, 6)
	x0, x1 := margin+labelWidth(ticks)+4, f.w-margin
	middle := (x0 + x1) / 2
	b.before.r, b.after.r = rect{x0, 0, middle - 6, 0}, rect{middle + 6, 0, x1, 0}
	top := b.heads(f, f.top)

	row := []ratioRow{b.row()}
	names := []string{row[0].label}
	p := f.ratioPanel(row, names, 0)
	below := lineStep + 3 + ratioGap + p.row + 3 + 2*lineStep
	h := f.panelHeight(math.Min(150, 0.5*f.w), top-f.top+below)
	s.p0, s.p1 = top+h, top
	b.before.r.y0, b.before.r.y1, b.after.r.y0, b.after.r.y1 = top, top+h, top, top+h
	f.yAxis(rect{x0, top, x1, top + h}, s, ticks)
	b.drawHalf(f, b.before, s, openCircle)
	b.drawHalf(f, b.after, s, filledSquare)

	p.r.y0 = top + h + lineStep + 3 + ratioGap
	p.r.y1 = p.r.y0 + p.row
	return f.finish(b.drawRatio(f, p, row, names))
}

// headNames and headCounts are the words above a half.
func (b *sessionsPlot) headNames(h half) []string {
	name := h.name
	if name == "" {
		name = "(no setup named)"
	}
	return capLines(wrap(name, h.r.w()-14, textSize, true), 2, h.r.w()-14, textSize, true)
}

func (b *sessionsPlot) headCounts(h half) []string {
	mean := "no geometric mean"
	if h.mean != nil {
		mean = "geometric mean " + number(*h.mean) + " " + b.r.Unit
	}
	return wrap(plural(len(h.sessions), "session")+", "+mean, h.r.w(), textSize, false)
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// heads draws the words above both halves from y on, names level with names.
// It returns the next free y.
func (b *sessionsPlot) heads(f *figure, y float64) float64 {
	halves := []half{b.before, b.after}
	names, counts := 0, 0
	for _, h := range halves {
		names, counts = max(names, len(b.headNames(h))), max(counts, len(b.headCounts(h)))
	}
	for i, h := range halves {
		kind, ink := openCircle, f.th.before
		if i == 1 {
			kind, ink = filledSquare, f.th.after
		}
		f.mark("legend", kind, point{h.r.x0 + 4, y + 0.6*textSize}, 3.4, ink, f.th.paper)
		for k, line := range b.headNames(h) {
			f.text(label{text: line, at: point{h.r.x0 + 14, y + float64(k)*lineStep + ascent*textSize}, bold: true, color: f.th.ink})
		}
		for k, line := range b.headCounts(h) {
			f.text(label{text: line, at: point{h.r.x0, y + float64(names+k)*lineStep + ascent*textSize}, color: f.th.ink})
		}
	}
	return y + float64(names+counts)*lineStep + 5
}

func (b *sessionsPlot) drawHalf(f *figure, h half, s scale, kind markKind) {
	ink, role, dash := f.th.before, "before", []float64{7, 3}
	if kind == filledSquare {
		ink, role, dash = f.th.after, "after", nil
	}
	f.base(h.r)
	if h.mean != nil {
		at := s.pos(*h.mean)
		f.line("mean", pen{color: ink, width: 1.8, dash: dash}, point{h.r.x0, at}, point{h.r.x1, at})
	}
	b.drawPoints(f, h, s, kind, ink, role)
}

func (b *sessionsPlot) drawPoints(f *figure, h half, s scale, kind markKind, ink color.NRGBA, role string) {
	slot := h.r.w() / float64(max(len(h.sessions), 1))
	radius := math.Min(3.6, math.Max(1.8, slot/2.6))
	end := math.Inf(-1)
	every := dateStride(h.sessions, slot, h.r.w())
	for i, session := range h.sessions {
		x := h.r.x0 + (float64(i)+0.5)*slot
		if v := *session.Adjusted; v < b.floor {
			f.mark(role, downTriangle, point{x, h.r.y1 - 4}, radius, ink, f.th.paper)
		} else {
			f.mark(role, kind, point{x, s.pos(v)}, radius, ink, f.th.paper)
		}
		if i%every == 0 {
			date := elide(shortDate(session.Date), h.r.w(), textSize, false)
			l := label{text: date, at: point{x, h.r.y1 + 3 + ascent*textSize}, align: centre, color: f.th.muted}
			if l = l.within(h.r.x0-4, h.r.x1+3); l.box().x0 >= end {
				f.text(l)
				end = l.box().x1 + 3
			}
		}
	}
}

// dateStride is how many marks share a date label, so that labels stay apart.
func dateStride(sessions []compare.Session, slot, width float64) int {
	w := 0.0
	for _, s := range sessions {
		w = math.Max(w, math.Min(width, textWidth(shortDate(s.Date), textSize, false)))
	}
	return max(1, int(math.Ceil((w+4)/slot)))
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
	s, ticks := ratioScale(row, extra...).across(p.r.x0, p.r.x1)
	y := f.xAxis(p.r, s, ticks)
	f.base(p.r)
	if len(extra) > 0 {
		x := s.pos(matters)
		f.line("matters", pen{color: f.th.muted, width: 1, dash: []float64{2, 2}}, point{x, p.r.y0 - 2}, point{x, p.r.y1})
		l := label{text: "smallest that matters", at: point{x, p.r.y0 - 5}, align: centre, color: f.th.muted}
		f.text(l.within(margin, f.w-margin))
	}
	f.drawRatios(p, row, names, s)
	return f.sideNotes(p.r, y)
}

func (b *sessionsPlot) caption() string {
	r := b.r
	parts := []string{"Marks: mean of a session, adjusted for its tasks; level lines: geometric means."}
	if ratio := b.row(); ratio.ratio != nil && (ratio.low != nil || ratio.hig != nil) {
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
		text += fmt.Sprintf(" Ratio after to before %s, %s %% interval %s to %s: %s.", ratioNumber(*row.ratio), percent(r), boundText(row.low), boundText(row.hig), r.Verdict)
	} else {
		text += fmt.Sprintf(" No ratio: %s.", r.Verdict)
	}
	return brief(text)
}
