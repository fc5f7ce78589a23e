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
	return th.fills[k%len(th.fills)], k / len(th.fills) % 4
}

func (p *dosePlot) draw(o Options) *drawing {
	f := newFigure(o, "Which task brought the dust, shift by shift",
		fmt.Sprintf("Share of the measured dose by task, %% (%s by optical sensor)", metricLabel(p.r.Metric)), AltTextTaskDose(p.r))
	f.setFooter(p.legend(f), p.caption())
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
	step := want / float64(len(p.shifts))
	for i, shift := range p.shifts {
		bar := rect{r.x0, r.y0 + float64(i)*step + 0.12*step, r.x1, r.y0 + float64(i+1)*step - 0.12*step}
		p.drawBar(f, shift, bar, s)
		base := (bar.y0+bar.y1)/2 + 0.33*textSize
		f.text(label{text: elide(p.labels[i], lw, textSize, false), at: point{margin, base}, color: f.th.ink})
		f.text(label{text: twaText(shift), at: point{f.w - margin, base}, align: right, color: f.th.ink})
	}
	return f.finish(y)
}

func twaText(s exposure.ShiftResult) string {
	if s.TWA8h == nil {
		return "–"
	}
	return number(*s.TWA8h) + " mg/m³"
}

// drawBar stacks a shift's shares in the order of the legend.
func (p *dosePlot) drawBar(f *figure, s exposure.ShiftResult, bar rect, sc scale) {
	shares := make([]float64, len(p.tasks))
	total := 0.0
	for _, t := range s.TaskDoseShares {
		if t.Share > 0 && !math.IsInf(t.Share, 0) {
			shares[p.index[t.Task]] += t.Share
			total += t.Share
		}
	}
	edge := pen{color: f.th.ink, width: 0.6}
	at := 0.0
	for _, i := range p.order() {
		if shares[i] == 0 {
			continue
		}
		// Shares add up to 1; should they add up to more, they still end at the edge.
		next := at + shares[i]/math.Max(total, 1)
		r := rect{sc.pos(at), bar.y0, sc.pos(next), bar.y1}
		fill, hatch := p.look(f.th, p.tasks[i])
		f.box("share", r, &fill, nil)
		f.hatch(r, hatch, pen{color: f.th.muted, width: 0.5})
		f.box("share", r, nil, &edge)
		f.shareLabel(p.name(p.tasks[i]), p.tasks[i], p.taskNumber(p.tasks[i]), fill, r)
		at = next
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

// shareLabel writes number and name into a part of a bar, or the number alone.
func (f *figure) shareLabel(name, task string, n int, fill color.NRGBA, r rect) {
	texts := []string{name}
	if task != "" {
		texts = []string{strconv.Itoa(n) + "\u2002" + name, strconv.Itoa(n)}
	}
	for _, text := range texts {
		w := textWidth(text, textSize, false)
		if w+6 > r.w() || r.h() < textSize {
			continue
		}
		x, y := (r.x0+r.x1)/2, (r.y0+r.y1)/2
		f.box("halo", rect{x - w/2 - 1.5, math.Max(y-5, r.y0+0.5), x + w/2 + 1.5, math.Min(y+5, r.y1-0.5)}, &fill, nil)
		f.text(label{text: text, at: point{x, y + 0.33*textSize}, align: centre, color: f.th.ink})
		return
	}
}

func (p *dosePlot) legend(f *figure) []entry {
	var out []entry
	for _, i := range p.order() {
		task := p.tasks[i]
		fill, hatch := p.look(f.th, task)
		text := p.name(task)
		if task != "" {
			text = strconv.Itoa(p.taskNumber(task)) + "\u2002" + text
		}
		out = append(out, entry{text, func(d *drawing, r rect) {
			d.box("legend", r, &fill, nil)
			d.hatch(r, hatch, pen{color: f.th.muted, width: 0.5})
			d.box("legend", r, nil, &pen{color: f.th.ink, width: 0.6})
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
	return clean(fmt.Sprintf("Share of the measured dose by task in %s. %s.", plural(len(p.shifts), "shift"), strings.Join(parts, "; ")))
}
