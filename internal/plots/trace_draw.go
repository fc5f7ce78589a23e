package plots

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"

	"dustlog/internal/dust"
)

const (
	columnWidth = 0.75 // points; a thin line is about as wide
	stripHeight = 6.0  // below the panel: when readings were not usable
	tracePanel  = 170.0
)

func (t *trace) draw() *drawing {
	f := newFigure(t.o, t.title(), t.quantity(), t.altText())
	if len(t.Tasks) == 0 {
		f.top += 4 // or the axis' top number comes close to the words above
	}
	s, ticks := t.yScale(6)
	x0 := margin + labelWidth(ticks) + 4
	x1 := f.w - margin
	tasks := layoutTasks(t.Tasks, t.from, t.to, x0, x1)
	ms := float64(t.to.UnixMilli() - t.from.UnixMilli())
	x := func(at int64) float64 { return x0 + float64(at-t.from.UnixMilli())/ms*(x1-x0) }
	none, unusable := t.pauses(int64(1.5 / (x1 - x0) * ms))
	note := t.limitNote(s, x1-x0)
	f.setFooter(t.fullCaption(tasks, note), t.legend(f, s, len(none) > 0, len(unusable) > 0), tasks.taskLegend())

	noteHeight := 0.0
	if note != "" {
		noteHeight = lineStep
	}
	below := stripHeight + 3 + 2*lineStep // strip, clock times, axis title
	h := f.panelHeight(math.Min(tracePanel, f.w*0.5), tasks.height()+noteHeight+below)
	r := rect{x0, f.top + tasks.height() + noteHeight, x1, 0}
	r.y1 = r.y0 + h
	s.p0, s.p1 = r.y1, r.y0

	t.drawPauses(f, r, x, none, unusable)
	f.yAxis(r, s, ticks)
	t.drawClock(f, r)
	f.drawTasks(tasks, f.top, r.y1)
	t.drawCurves(f, r, x, s)
	if noteHeight > 0 {
		l := label{text: "↑ " + note + " is above this plot", at: point{x1, r.y0 - 3.5}, align: right, color: f.th.limit}
		f.box("halo", l.box(), &f.th.paper, nil) // only the edges of tasks pass here
		f.text(l)
	}
	if t.usable == 0 {
		f.text(label{text: "no usable readings", at: point{(x0 + x1) / 2, (r.y0 + r.y1) / 2}, align: centre, color: f.th.ink})
	}
	return f.finish(r.y1 + below)
}

// yScale covers the readings, from zero on, and the limit if it is not far
// above them.
func (t *trace) yScale(n int) (scale, []tick) {
	high := t.high
	if t.o.LogY && t.usable > 0 {
		low := math.Max(t.low, t.floor)
		if t.limit > 0 && t.limit < 100*high {
			high, low = math.Max(high, t.limit), math.Min(low, t.limit)
		}
		return logScale(low, math.Max(high, low), n+1)
	}
	if t.limit > 0 && t.limit <= 2*high {
		high = math.Max(high, t.limit*1.08)
	}
	if high <= 0 && t.low >= 0 {
		high = 10 / t.perUnit // all zero: a sensor's few lowest steps
	}
	return linearScale(math.Min(0, t.low), high, n)
}

// limitNote names a limit above the scale, briefly where there is little room.
func (t *trace) limitNote(s scale, width float64) string {
	if !t.limitAbove(s) {
		return ""
	}
	if full := t.limitText(); textWidth("↑ "+full+" is above this plot", textSize, false) <= width {
		return full
	}
	return t.limitShort()
}

func (t *trace) limitShort() string { return "limit " + number(t.LimitMgM3) + " mg/m³" }

// limitAbove reports whether the limit has no place on the scale.
func (t *trace) limitAbove(s scale) bool { return t.limit > s.hi }

func (t *trace) drawPauses(f *figure, r rect, x func(int64) float64, none, unusable []stretch) {
	for _, p := range none {
		f.box("gap", rect{x(p.from), r.y0, x(p.to), r.y1}, &f.th.shade, nil)
	}
	var marks [][]point
	end := math.Inf(-1)
	for _, p := range unusable {
		a, b := math.Max(x(p.from), end), x(p.to)
		for c := a; c < b || c == a; c += 2 { // upright ticks, 2 points apart
			marks = append(marks, []point{{c, r.y1 + 1}, {c, r.y1 + stripHeight}})
			end = c + 2
		}
	}
	f.lines("unusable", pen{color: f.th.ink, width: 0.8}, marks)
}

// drawClock draws the time axis and names its zone.
func (t *trace) drawClock(f *figure, r rect) {
	n := int(r.w() / 42)
	span := float64(t.to.Sub(t.from))
	y := r.y1 + stripHeight + 3
	end := math.Inf(-1)
	for _, k := range timeTicks(t.from, t.to, t.o.Zone, n) {
		x := r.x0 + float64(k.at.Sub(t.from))/span*r.w()
		f.line("grid", pen{color: f.th.grid, width: 0.7}, point{x, r.y0}, point{x, r.y1})
		l := label{text: k.label, at: point{x, y + ascent*textSize}, align: centre, color: f.th.muted}
		l = l.within(2, f.w-2)
		b := l.box()
		if b.x0 < end+5 {
			continue
		}
		end = b.x1
		f.text(l)
	}
	f.base(r)
	zone := "Clock time, " + zoneLabel(t.from, t.to, t.o.Zone)
	f.text(label{text: elide(zone, r.w(), textSize, false), at: point{r.x1, y + lineStep + ascent*textSize}, align: right, color: f.th.muted})
}

func (t *trace) drawCurves(f *figure, r rect, x func(int64) float64, s scale) {
	y := func(v float64) float64 {
		if s.log {
			v = math.Max(v, math.Max(s.lo, t.floor))
		}
		return s.pos(v)
	}
	readings := reduce(t.samples, x, y, columnWidth)
	f.lines("reading", pen{color: f.th.reading, width: 0.8, round: true}, readings.paths)
	f.dots("reading", readings.dots, dotRadius(len(readings.dots)), f.th.reading)
	mean := reduce(slices.Values(t.mean), x, y, columnWidth)
	f.lines("mean", pen{color: f.th.mean, width: 2, round: true}, mean.paths)
	f.dots("mean", mean.dots, 1.2, f.th.mean)
	if t.limit > 0 && !t.limitAbove(s) && t.limit >= s.lo {
		at := s.pos(t.limit)
		f.line("limit", limitPen(f.th), point{r.x0, at}, point{r.x1, at})
		f.limitLabel([]string{t.limitText(), t.limitShort(), "limit"}, r, at, readings, mean)
	}
}

func limitPen(th *theme) pen { return pen{color: th.limit, width: 1.3, dash: []float64{6, 3}} }

// dots draws small squares for readings that stand alone.
func (d *drawing) dots(role string, at []point, r float64, c color.NRGBA) {
	var paths [][]point
	for _, p := range at {
		paths = append(paths, []point{{p.x - r, p.y - r}, {p.x + r, p.y - r}, {p.x + r, p.y + r}, {p.x - r, p.y + r}})
	}
	if len(paths) > 0 {
		d.shapes = append(d.shapes, shape{role: role, paths: paths, closed: true, fill: &c})
	}
}

// dotRadius makes few lone readings easy to see and many of them a fine line.
func dotRadius(n int) float64 {
	if n <= 60 {
		return 1.6
	}
	return 0.7
}

// limitLabel writes on or under the limit's line where no curve is covered: the
// longest of the texts that finds room, or none. The legend has it in any case.
func (f *figure) limitLabel(texts []string, r rect, y float64, curves ...curve) {
	for _, text := range texts {
		w := textWidth(text, textSize, false)
		for x := r.x1 - 4 - w; x >= r.x0+4; x -= 6 {
			for _, base := range []float64{y - 3.5, y + ascent*textSize + 2} {
				l := label{text: text, at: point{x, base}, color: f.th.limit}
				if b := l.box(); b.y0 >= r.y0 && b.y1 <= r.y1 && !covers(b, curves) {
					f.text(l)
					return
				}
			}
		}
	}
}

// covers reports whether b hides any of the curves.
func covers(b rect, curves []curve) bool {
	meets := func(p, q point) bool {
		return math.Max(p.x, q.x) > b.x0-4 && math.Min(p.x, q.x) < b.x1+4 &&
			math.Max(p.y, q.y) > b.y0-1 && math.Min(p.y, q.y) < b.y1+1
	}
	for _, c := range curves {
		for _, path := range c.paths {
			for i := 1; i < len(path); i++ {
				if meets(path[i-1], path[i]) {
					return true
				}
			}
		}
		for _, p := range c.dots {
			if meets(p, p) {
				return true
			}
		}
	}
	return false
}

func (t *trace) legend(f *figure, s scale, gaps, unusable bool) []entry {
	var out []entry
	add := func(text string, sample func(d *drawing, r rect)) { out = append(out, entry{text, sample}) }
	line := func(role string, p pen) func(d *drawing, r rect) {
		return func(d *drawing, r rect) {
			y := (r.y0 + r.y1) / 2
			d.line(role, p, point{r.x0, y}, point{r.x1, y})
		}
	}
	add("readings", line("legend", pen{color: f.th.reading, width: 0.8}))
	if len(t.mean) > 0 {
		add("15-minute mean", line("legend", pen{color: f.th.mean, width: 2}))
	}
	if s.lo <= t.limit && t.limit <= s.hi && t.limit > 0 {
		add(t.limitText(), line("legend", limitPen(f.th)))
	}
	if gaps {
		add("no usable readings", func(d *drawing, r rect) { d.box("legend", r, &f.th.shade, &pen{color: f.th.grid, width: 0.7}) })
	}
	if unusable {
		add("readings left out"+t.leftOut(), func(d *drawing, r rect) {
			var marks [][]point
			for x := r.x0 + 4; x < r.x1-3; x += 3 {
				marks = append(marks, []point{{x, r.y0 + 2}, {x, r.y1 - 2}})
			}
			d.lines("legend", pen{color: f.th.ink, width: 0.8}, marks)
		})
	}
	return out
}

// leftOut says why readings were left out, the longest first.
func (t *trace) leftOut() string {
	type reason struct {
		flag    string
		minutes float64
	}
	var reasons []reason
	for flag, minutes := range t.Shift.MinutesExcluded {
		reasons = append(reasons, reason{flag, minutes})
	}
	if len(reasons) == 0 {
		return ""
	}
	slices.SortFunc(reasons, func(a, b reason) int {
		if a.minutes != b.minutes {
			if a.minutes > b.minutes {
				return -1
			}
			return 1
		}
		return strings.Compare(a.flag, b.flag)
	})
	var parts []string
	for _, r := range reasons {
		parts = append(parts, fmt.Sprintf("%s %s min", strings.ReplaceAll(r.flag, "_", " "), number(r.minutes)))
	}
	return ": " + strings.Join(parts, ", ")
}

func (t *trace) fullCaption(l taskLayout, note string) string {
	c := t.caption()
	if full := t.limitText(); note != "" && note != full {
		c += " " + upperFirst(full) + "."
	}
	if l.dropped > 0 {
		c += fmt.Sprintf(" %d very short tasks carry no number.", l.dropped)
	}
	return c
}

// altText describes the picture in two sentences.
func (t *trace) altText() string {
	first := fmt.Sprintf("%s at %s from %s to %s (%s)", t.Series.Channel.Label(), t.Series.Sensor.Name,
		t.from.In(t.o.Zone).Format("2006-01-02 15:04"), t.to.In(t.o.Zone).Format("15:04"), zoneLabel(t.from, t.to, t.o.Zone))
	if t.usable == 0 {
		return brief(first + ": no usable readings.")
	}
	first += fmt.Sprintf(": readings from %s to %s %s.", number(t.low), number(t.high), t.unit)
	var more []string
	if v := t.Shift.Max15min; v != nil {
		more = append(more, "the highest 15-minute mean is "+dust.Concentration(*v*1000).String())
	}
	if t.limit > 0 {
		where := "above every reading"
		if t.limit <= t.high {
			where = "below the highest reading"
		}
		text := t.limitText() + " lies " + where
		if f := t.Shift.Finding; f != "" { // which the place of a line does not decide
			text += ", finding: " + string(f)
		}
		more = append(more, text)
	}
	if n := len(t.Tasks); n > 0 {
		more = append(more, fmt.Sprintf("%d stretches of work are marked", n))
	}
	if len(more) == 0 {
		return brief(first)
	}
	text := strings.Join(more, "; ")
	return brief(first + " " + upperFirst(text) + ".")
}

// AltTextShiftTrace describes the picture that ShiftTrace draws in one or two
// sentences; "" if there is nothing to draw.
func AltTextShiftTrace(d TraceData, o Options) string {
	o, err := o.complete()
	if err != nil {
		return ""
	}
	t, err := newTrace(d, o)
	if err != nil {
		return ""
	}
	return t.altText()
}
