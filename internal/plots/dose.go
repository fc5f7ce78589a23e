package plots

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// TaskDose draws, shift by shift, how the measured dose was shared out among
// tasks. The error wraps dust.ErrNoReadings if no shift has shares.
func TaskDose(w io.Writer, r exposure.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	p := newDosePlot(r)
	if len(p.tasks) == 0 {
		return fmt.Errorf("draw dose by task: %w", dust.ErrNoReadings)
	}
	return o.write(w, p.draw(o))
}

// dosePlot is an exposure result sorted for drawing.
type dosePlot struct {
	r      exposure.Result
	tasks  []string // "" is the time without a task
	index  map[string]int
	shifts []exposure.ShiftResult // with at least one share
	none   int                    // shifts without
	labels []string
}

func newDosePlot(r exposure.Result) *dosePlot {
	p := &dosePlot{r: r, index: map[string]int{}}
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
			if _, ok := p.index[t.Task]; !ok {
				p.index[t.Task] = len(p.tasks)
				p.tasks = append(p.tasks, t.Task)
			}
		}
		if shares == 0 {
			p.none++
			continue
		}
		name := shortDate(s.Date)
		if len(sensors) > 1 {
			name += ", " + clean(s.Sensor)
		}
		p.shifts, p.labels = append(p.shifts, s), append(p.labels, name)
	}
	return p
}

// taskNumber counts named tasks from 1 in order of appearance; "" has none.
func (p *dosePlot) taskNumber(task string) int {
	n := 0
	for _, t := range p.tasks {
		if t != "" {
			n++
		}
		if t == task {
			break
		}
	}
	return n
}

// look is how a task's part of a bar is filled: a colour and a hatching that
// together are its own.
func (p *dosePlot) look(th *theme, task string) (color.NRGBA, int) {
	if task == "" {
		return th.rest, 0
	}
	k := p.taskNumber(task) - 1
	return th.fills[k%len(th.fills)], k % 4
}

func (p *dosePlot) draw(o Options) *drawing {
	f := newFigure(o, "Which task brought the dust, shift by shift",
		fmt.Sprintf("Share of the measured dose by task, %% (%s by optical sensor)", metricLabel(p.r.Metric)), AltTextTaskDose(p.r))
	f.setFooter(p.caption(), p.legend(f))
	lw, tw := 0.0, textWidth("8-h mean", textSize, false)
	for i, s := range p.shifts {
		lw = math.Max(lw, textWidth(p.labels[i], textSize, false))
		tw = math.Max(tw, textWidth(twaText(s), textSize, false))
	}
	lw = math.Min(lw, 0.3*f.w)
	r := rect{margin + lw + 6, f.top + lineStep, f.w - margin - tw - 8, 0}
	want := 22 * float64(len(p.shifts))
	if len(p.shifts) > 14 {
		want = 13 * float64(len(p.shifts))
	}
	below := 3 + lineStep
	room := f.o.Height.Points() - f.top - lineStep - below - f.footer.height() - margin
	want = math.Max(want, math.Min(room, 1.5*want))
	r.y1 = r.y0 + want
	s := scale{lo: 0, hi: 1, p0: r.x0, p1: r.x1}
	ticks := []tick{{0, "0"}, {0.25, "25"}, {0.5, "50"}, {0.75, "75"}, {1, "100 %"}}
	f.text(label{text: "8-h mean", at: point{f.w - margin, f.top + ascent*textSize}, align: right, color: f.th.muted})
	y := f.xAxis(r, s, ticks)
	p.drawBars(f, r)
	step := want / float64(len(p.shifts))
	for i, shift := range p.shifts {
		base := r.y0 + (float64(i)+0.5)*step + 0.33*textSize
		f.text(label{text: elide(p.labels[i], lw, textSize, false), at: point{margin, base}, color: f.th.ink})
		f.text(label{text: twaText(shift), at: point{f.w - margin, base}, align: right, color: f.th.ink})
	}
	return f.finish(y)
}

func twaText(s exposure.ShiftResult) string {
	if s.TWA8h == nil {
		return "–"
	}
	if v := *s.TWA8h; v >= 0.001 && v < 10 {
		return strconv.FormatFloat(v, 'f', 3, 64) + " mg/m³"
	}
	return number(*s.TWA8h) + " mg/m³"
}

// bars stacks each shift's shares in the order of the legend. It returns the
// parts by task.
func (p *dosePlot) bars(panel rect) [][]rect {
	parts := make([][]rect, len(p.tasks))
	step := panel.h() / float64(len(p.shifts))
	for k, s := range p.shifts {
		shares, total := p.shares(s)
		y0, y1 := panel.y0+(float64(k)+0.12)*step, panel.y0+(float64(k)+0.88)*step
		at := panel.x0
		for _, i := range p.order() {
			if shares[i] > 0 {
				// Shares add up to 1; should they add up to more, they still end at the edge.
				next := at + panel.w()*shares[i]/math.Max(total, 1)
				parts[i] = append(parts[i], rect{at, y0, next, y1})
				at = next
			}
		}
	}
	return parts
}

func (p *dosePlot) shares(s exposure.ShiftResult) (shares []float64, total float64) {
	shares = make([]float64, len(p.tasks))
	for _, t := range s.TaskDoseShares {
		if t.Share > 0 && !math.IsInf(t.Share, 0) {
			shares[p.index[t.Task]] += t.Share
			total += t.Share
		}
	}
	return shares, total
}

// drawBars draws all parts of a task at once, which keeps the file small, and
// then the words on them.
func (p *dosePlot) drawBars(f *figure, panel rect) {
	parts := p.bars(panel)
	for i, task := range p.tasks {
		fill, kind := p.look(f.th, task)
		var outlines, lines, halos [][]point
		var words []label
		for _, r := range parts[i] {
			outlines = append(outlines, r.corners())
			lines = append(lines, hatch(r, kind)...)
			if l, ok := p.shareLabel(task, r, f.th); ok {
				words = append(words, l)
				b := l.box()
				halos = append(halos, rect{b.x0 - 1.5, math.Max(b.y0+1, r.y0+0.5), b.x1 + 1.5, math.Min(b.y1-1, r.y1-0.5)}.corners())
			}
		}
		f.outlines("share", outlines, &fill, &pen{color: f.th.ink, width: 0.6})
		f.lines("hatch", pen{color: f.th.hatch, width: 0.5}, lines)
		if kind > 0 {
			f.outlines("halo", halos, &fill, nil)
		}
		f.labels = append(f.labels, words...)
	}
}

// order lists the tasks as stacked: named ones first, the rest at the end.
func (p *dosePlot) order() []int {
	var named, rest []int
	for i, t := range p.tasks {
		if t == "" {
			rest = append(rest, i)
		} else {
			named = append(named, i)
		}
	}
	return append(named, rest...)
}

func (p *dosePlot) name(task string) string {
	if task == "" {
		return "no task"
	}
	return clean(task)
}

// shareLabel is what is written into a part of a bar: number and name, or the
// number alone, or nothing.
func (p *dosePlot) shareLabel(task string, r rect, th *theme) (label, bool) {
	texts := []string{p.name(task)}
	if task != "" {
		n := strconv.Itoa(p.taskNumber(task))
		texts = []string{n + " " + p.name(task), n}
	}
	for _, text := range texts {
		if textWidth(text, textSize, false)+6 <= r.w() && r.h() >= textSize {
			at := point{(r.x0 + r.x1) / 2, (r.y0+r.y1)/2 + 0.33*textSize}
			return label{text: text, at: at, align: centre, size: textSize, color: th.ink}, true
		}
	}
	return label{}, false
}

func (p *dosePlot) legend(f *figure) []entry {
	var out []entry
	for _, i := range p.order() {
		task := p.tasks[i]
		fill, kind := p.look(f.th, task)
		text := p.name(task)
		if task != "" {
			text = strconv.Itoa(p.taskNumber(task)) + " " + text
		}
		out = append(out, entry{text, func(d *drawing, r rect) {
			d.box("legend", r, &fill, &pen{color: f.th.ink, width: 0.6})
			d.lines("legend", pen{color: f.th.hatch, width: 0.5}, hatch(r, kind))
		}})
	}
	return out
}

func (p *dosePlot) caption() string {
	parts := []string{"Shares of the dose measured in each shift; time not measured is in none. Right: mean over 8 hours (TWA)."}
	if p.none > 0 {
		parts = append(parts, plural(p.none, "shift")+" without measured dose not shown.")
	}
	return strings.Join(parts, " ")
}

// AltTextTaskDose describes the picture that TaskDose draws.
func AltTextTaskDose(r exposure.Result) string {
	p := newDosePlot(r)
	var parts []string
	for i, s := range p.shifts {
		var best exposure.TaskDose
		for _, t := range s.TaskDoseShares {
			if t.Share > best.Share {
				best = t
			}
		}
		parts = append(parts, fmt.Sprintf("%s mostly %s (%.0f %%)", p.labels[i], p.name(best.Task), 100*best.Share))
		if len(parts) == 7 && len(p.shifts) > 8 {
			parts = append(parts, fmt.Sprintf("and %d more shifts", len(p.shifts)-7))
			break
		}
	}
	return brief(fmt.Sprintf("Share of the measured dose by task in %s. %s.", plural(len(p.shifts), "shift"), strings.Join(parts, "; ")))
}
