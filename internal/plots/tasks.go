package plots

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"dustlog/internal/dust"
)

// taskBand is a task's stretch along the top of a plot.
type taskBand struct {
	x0, x1 float64
	lane   int    // 0 is the lowest; tasks that overlap take lanes of their own
	open   bool   // still running, or cut off at the plot's right edge
	name   string // with the material
	short  string // without
	number int    // of the task's name in the legend
}

// taskLabel is a band's name or number; its box is relative to the layout's top.
type taskLabel struct {
	text   string
	box    rect
	band   int
	inside bool // within its band; others stand above and have a leader line
}

// taskLayout places bands and labels so that no two labels touch.
type taskLayout struct {
	bands    []taskBand
	labels   []taskLabel
	rows     int // label rows above the bands
	lanes    int
	numbered bool // labels are numbers; names says which
	names    []string
	dropped  int // numbers that found no room
}

const (
	bandHeight = 13.0
	bandGap    = 1.5
	leaderGap  = 5.0 // between the lowest label row and the bands
	labelPad   = 3.0
	mostRows   = 2
	leastBand  = 0.8
)

func (l taskLayout) labelHeight() float64 {
	if l.rows == 0 {
		return 0
	}
	return float64(l.rows)*lineStep + leaderGap
}

func (l taskLayout) height() float64 {
	if len(l.bands) == 0 {
		return 0
	}
	return l.labelHeight() + float64(l.lanes)*(bandHeight+bandGap)
}

// bandBox is where band i stands, relative to the layout's top.
func (l taskLayout) bandBox(i int) rect {
	b := l.bands[i]
	y := l.labelHeight() + float64(l.lanes-1-b.lane)*(bandHeight+bandGap)
	return rect{b.x0, y, b.x1, y + bandHeight}
}

// layoutTasks places the tasks that share time with [from, to] between x0 and
// x1. Names stand in their bands or in up to two rows above; where they find no
// room there, all are numbered, and names lists them.
func layoutTasks(tasks []dust.Task, from, to time.Time, x0, x1 float64) taskLayout {
	l := taskLayout{bands: bandsOf(tasks, from, to, x0, x1)}
	for _, b := range l.bands {
		l.lanes = max(l.lanes, b.lane+1)
		if b.number > len(l.names) {
			l.names = append(l.names, b.name)
		}
	}
	full := func(b taskBand) string { return b.name }
	short := func(b taskBand) string { return b.short }
	if l.placeNames(x0, x1, full) || l.shortNamesTell() && l.placeNames(x0, x1, short) {
		l.finish()
		return l
	}
	l.numbered = true
	l.placeNumbers(x0, x1)
	l.finish()
	return l
}

func bandsOf(tasks []dust.Task, from, to time.Time, x0, x1 float64) []taskBand {
	tasks = slices.Clone(tasks)
	slices.SortStableFunc(tasks, func(a, b dust.Task) int { return a.Start.Compare(b.Start) })
	place := func(t time.Time) float64 {
		return x0 + float64(t.Sub(from))/float64(to.Sub(from))*(x1-x0)
	}
	var bands []taskBand
	var laneEnd []time.Time
	numbers := map[string]int{}
	for _, t := range tasks {
		stop := t.Stop
		open := t.Running() || stop.After(to)
		if open {
			stop = to
		}
		if !stop.After(from) || !t.Start.Before(to) || !stop.After(t.Start) {
			continue
		}
		lane := slices.IndexFunc(laneEnd, func(end time.Time) bool { return !end.After(t.Start) })
		if lane < 0 {
			lane, laneEnd = len(laneEnd), append(laneEnd, time.Time{})
		}
		laneEnd[lane] = stop
		name := taskName(t)
		if numbers[name] == 0 {
			numbers[name] = len(numbers) + 1
		}
		b := taskBand{x0: math.Max(x0, place(t.Start)), x1: math.Min(x1, place(stop)), lane: lane, open: open, name: name, short: clean(t.Name), number: numbers[name]}
		b.x1 = math.Min(x1, math.Max(b.x1, b.x0+leastBand))
		bands = append(bands, b)
	}
	return bands
}

func taskName(t dust.Task) string {
	name := clean(t.Name)
	if m := clean(t.Material); m != "" {
		name += ", " + m
	}
	return name
}

// shortNamesTell reports whether names without materials still tell tasks apart.
func (l *taskLayout) shortNamesTell() bool {
	full := map[string]string{}
	for _, b := range l.bands {
		if f, ok := full[b.short]; ok && f != b.name {
			return false
		}
		full[b.short] = b.name
	}
	return true
}

// placeNames tries names; false if two rows above the bands do not hold them.
func (l *taskLayout) placeNames(x0, x1 float64, nameOf func(taskBand) string) bool {
	const most = 2
	end := [most]float64{math.Inf(-1), math.Inf(-1)}
	l.labels, l.rows = nil, 0
	for i, b := range l.bands {
		name := nameOf(b)
		w := textWidth(name, textSize, false) + 2*labelPad
		if w <= b.x1-b.x0 {
			l.labels = append(l.labels, taskLabel{text: name, band: i, inside: true})
			continue
		}
		if w > x1-x0 {
			return false
		}
		left := math.Min(math.Max((b.x0+b.x1-w)/2, x0), x1-w)
		row := slices.IndexFunc(end[:], func(e float64) bool { return left >= e })
		if row < 0 {
			return false
		}
		end[row] = left + w
		l.rows = max(l.rows, row+1)
		l.labels = append(l.labels, taskLabel{text: name, band: i, box: rect{left, float64(row), left + w, 0}})
	}
	return true
}

// placeNumbers puts numbers into their bands, and the rest into rows above,
// pushed apart. The rows are as many as they need, up to mostRows.
func (l *taskLayout) placeNumbers(x0, x1 float64) {
	l.labels, l.rows = nil, 0
	var above []taskLabel
	total := 0.0
	for i, b := range l.bands {
		text := strconv.Itoa(b.number)
		w := textWidth(text, textSize, false) + 2*labelPad
		if w <= b.x1-b.x0 {
			l.labels = append(l.labels, taskLabel{text: text, band: i, inside: true})
			continue
		}
		middle := (b.x0 + b.x1) / 2
		above = append(above, taskLabel{text: text, band: i, box: rect{x0: middle - w/2, x1: middle + w/2}})
		total += w
	}
	if room := 0.9 * mostRows * (x1 - x0); total > room {
		above = l.dropShortest(above, total-room)
		total = room
	}
	// Not quite full rows, since turns of unequal numbers fill them unequally.
	l.rows = int(math.Ceil(total / (0.95 * (x1 - x0))))
	for row := range l.rows {
		var mine []taskLabel
		for i := row; i < len(above); i += l.rows {
			mine = append(mine, above[i])
		}
		spread(mine, x0, x1)
		for _, m := range mine {
			m.box.y0 = float64(row)
			l.labels = append(l.labels, m)
		}
	}
}

// dropShortest gives up the numbers of the shortest bands until excess points
// are saved.
func (l *taskLayout) dropShortest(above []taskLabel, excess float64) []taskLabel {
	length := func(t taskLabel) float64 { return l.bands[t.band].x1 - l.bands[t.band].x0 }
	order := slices.Clone(above)
	slices.SortStableFunc(order, func(a, b taskLabel) int { return cmp.Compare(length(a), length(b)) })
	gone := map[int]bool{}
	for _, t := range order {
		if excess <= 0 {
			break
		}
		excess -= t.box.w()
		gone[t.band] = true
		l.dropped++
	}
	return slices.DeleteFunc(above, func(t taskLabel) bool { return gone[t.band] })
}

// spread moves boxes, ordered by their middles, apart and into [x0, x1].
func spread(labels []taskLabel, x0, x1 float64) {
	end := x0
	for i := range labels {
		b := &labels[i].box
		w := b.w()
		b.x0 = math.Max(b.x0, end)
		b.x1 = b.x0 + w
		end = b.x1
	}
	end = x1
	for i := range slices.Backward(labels) {
		b := &labels[i].box
		w := b.w()
		b.x1 = math.Min(b.x1, end)
		b.x0 = b.x1 - w
		end = b.x0
	}
}

// finish turns rows into heights: row 0 is the one next to the bands.
func (l *taskLayout) finish() {
	for i := range l.labels {
		t := &l.labels[i]
		if t.inside {
			band := l.bandBox(t.band)
			w := textWidth(t.text, textSize, false)
			middle := (band.x0 + band.x1) / 2
			t.box = rect{middle - w/2, band.y0 + 1, middle + w/2, band.y1 - 1}
			continue
		}
		y := float64(l.rows-1-int(t.box.y0)) * lineStep
		t.box.y0, t.box.y1 = y, y+lineStep
	}
}

// drawTasks draws the layout with its top at y. The edges of bands wide enough
// run on faintly down to foot.
func (f *figure) drawTasks(l taskLayout, y, foot float64) {
	rim := pen{color: f.th.muted, width: 0.6}
	var edges [][]point
	for i, b := range l.bands {
		if r := l.bandBox(i); r.w() > 6 {
			edges = append(edges, []point{{b.x0, y + r.y1}, {b.x0, foot}})
			if !b.open {
				edges = append(edges, []point{{b.x1, y + r.y1}, {b.x1, foot}})
			}
		}
	}
	f.lines("edge", pen{color: f.th.edge, width: 0.6, dash: []float64{1, 2}}, edges)
	for i, b := range l.bands {
		r := l.bandBox(i)
		r.y0, r.y1 = r.y0+y, r.y1+y
		fill := f.th.bandA
		if i%2 == 1 {
			fill = f.th.bandB
		}
		f.box("task", r, &fill, nil)
		corners := []point{{r.x1, r.y0}, {r.x0, r.y0}, {r.x0, r.y1}, {r.x1, r.y1}}
		if !b.open { // an open end has no edge
			corners = append(corners, corners[0])
		}
		f.line("task", rim, corners...)
	}
	for _, t := range l.labels {
		middle := (t.box.x0 + t.box.x1) / 2
		if !t.inside {
			band := l.bandBox(t.band)
			f.line("leader", pen{color: f.th.muted, width: 0.5},
				point{middle, y + t.box.y1}, point{(band.x0 + band.x1) / 2, y + band.y0})
		}
		f.text(label{text: t.text, at: point{middle, y + (t.box.y0+t.box.y1)/2 + 0.33*textSize}, align: centre, color: f.th.ink})
	}
}

// taskLegend names the numbers of a numbered layout.
func (l taskLayout) taskLegend() []entry {
	if !l.numbered {
		return nil
	}
	const most = 24
	var out []entry
	for i, name := range l.names {
		if i == most {
			out = append(out, entry{text: "and " + strconv.Itoa(len(l.names)-most) + " more"})
			break
		}
		out = append(out, entry{text: strconv.Itoa(i+1) + " " + name})
	}
	return out
}
