package plots

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"gonum.org/v1/plot/vg"

	"dustlog/internal/dust"
)

// taskBand is a task's stretch along the top of a plot.
type taskBand struct {
	x0, x1 vg.Length
	lane   int    // 0 is the lowest; tasks that overlap take lanes of their own
	open   bool   // still running, or cut off at the plot's right edge
	name   string // with the material
	short  string // without
	number int    // of the task's name in the legend
}

// taskLabel is a band's name or number.
type taskLabel struct {
	text   string
	box    vg.Rectangle
	row    int // above the bands, from below
	band   int
	inside bool // within its band; others stand above and have a leader line
}

// taskLayout places bands and labels so that no two labels touch; y counts
// upwards from the foot of the bands.
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

// bandsTop is the height of the bands alone.
func (l taskLayout) bandsTop() vg.Length { return vg.Length(l.lanes) * (bandHeight + bandGap) }

func (l taskLayout) height() vg.Length {
	if l.rows == 0 {
		return l.bandsTop()
	}
	return l.bandsTop() + leaderGap + vg.Length(l.rows)*lineStep
}

// bandBox is where band i stands.
func (l taskLayout) bandBox(i int) vg.Rectangle {
	b := l.bands[i]
	y := vg.Length(b.lane)*(bandHeight+bandGap) + bandGap
	return vg.Rectangle{Min: vg.Point{X: b.x0, Y: y}, Max: vg.Point{X: b.x1, Y: y + bandHeight}}
}

// taskStyle is what names and numbers are measured in.
var taskStyle = themes[Light].text(themes[Light].ink)

// layoutTasks places the tasks that share time with [from, to] between x0 and
// x1. Names stand in their bands or in up to two rows above; where they find no
// room there, all are numbered, and names lists them.
func layoutTasks(tasks []dust.Task, from, to time.Time, x0, x1 vg.Length) taskLayout {
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

func bandsOf(tasks []dust.Task, from, to time.Time, x0, x1 vg.Length) []taskBand {
	tasks = slices.Clone(tasks)
	slices.SortStableFunc(tasks, func(a, b dust.Task) int { return a.Start.Compare(b.Start) })
	place := func(t time.Time) vg.Length {
		return x0 + vg.Length(t.Sub(from))/vg.Length(to.Sub(from))*(x1-x0)
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
		b := taskBand{x0: max(x0, place(t.Start)), x1: min(x1, place(stop)), lane: lane, open: open, name: name, short: clean(t.Name), number: numbers[name]}
		b.x1 = min(x1, max(b.x1, b.x0+leastBand))
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
func (l *taskLayout) placeNames(x0, x1 vg.Length, nameOf func(taskBand) string) bool {
	const most = 2
	end := [most]vg.Length{x0, x0}
	l.labels, l.rows = nil, 0
	for i, b := range l.bands {
		name := nameOf(b)
		w := taskStyle.Width(name) + 2*labelPad
		if w <= b.x1-b.x0 {
			l.labels = append(l.labels, taskLabel{text: name, band: i, inside: true})
			continue
		}
		if w > x1-x0 {
			return false
		}
		left := min(max((b.x0+b.x1-w)/2, x0), x1-w)
		row := slices.IndexFunc(end[:], func(e vg.Length) bool { return left >= e })
		if row < 0 {
			return false
		}
		end[row] = left + w
		l.rows = max(l.rows, row+1)
		l.labels = append(l.labels, taskLabel{text: name, band: i, row: row, box: sideways(left, left+w)})
	}
	return true
}

// placeNumbers puts numbers into their bands, and the rest into rows above,
// pushed apart. The rows are as many as they need, up to mostRows.
func (l *taskLayout) placeNumbers(x0, x1 vg.Length) {
	l.labels, l.rows = nil, 0
	var above []taskLabel
	total := vg.Length(0)
	for i, b := range l.bands {
		text := strconv.Itoa(b.number)
		w := taskStyle.Width(text) + 2*labelPad
		if w <= b.x1-b.x0 {
			l.labels = append(l.labels, taskLabel{text: text, band: i, inside: true})
			continue
		}
		middle := (b.x0 + b.x1) / 2
		above = append(above, taskLabel{text: text, band: i, box: sideways(middle-w/2, middle+w/2)})
		total += w
	}
	if room := 0.9 * mostRows * (x1 - x0); total > room {
		above = l.dropShortest(above, total-room)
		total = room
	}
	// Not quite full rows, since turns of unequal numbers fill them unequally.
	l.rows = int(math.Ceil(float64(total / (0.95 * (x1 - x0)))))
	for row := range l.rows {
		var mine []taskLabel
		for i := row; i < len(above); i += l.rows {
			mine = append(mine, above[i])
		}
		spread(mine, x0, x1)
		for _, m := range mine {
			m.row = row
			l.labels = append(l.labels, m)
		}
	}
}

func sideways(x0, x1 vg.Length) vg.Rectangle {
	return vg.Rectangle{Min: vg.Point{X: x0}, Max: vg.Point{X: x1}}
}

// dropShortest gives up the numbers of the shortest bands until excess points
// are saved.
func (l *taskLayout) dropShortest(above []taskLabel, excess vg.Length) []taskLabel {
	length := func(t taskLabel) vg.Length { return l.bands[t.band].x1 - l.bands[t.band].x0 }
	order := slices.Clone(above)
	slices.SortStableFunc(order, func(a, b taskLabel) int { return cmp.Compare(length(a), length(b)) })
	gone := map[int]bool{}
	for _, t := range order {
		if excess <= 0 {
			break
		}
		excess -= t.box.Size().X
		gone[t.band] = true
		l.dropped++
	}
	return slices.DeleteFunc(above, func(t taskLabel) bool { return gone[t.band] })
}

// spread moves boxes, ordered by their middles, apart and into [x0, x1].
func spread(labels []taskLabel, x0, x1 vg.Length) {
	end := x0
	for i := range labels {
		b := &labels[i].box
		*b = b.Add(vg.Point{X: max(0, end-b.Min.X)})
		end = b.Max.X
	}
	end = x1
	for i := range slices.Backward(labels) {
		b := &labels[i].box
		*b = b.Add(vg.Point{X: min(0, end-b.Max.X)})
		end = b.Min.X
	}
}

// finish gives labels their heights.
func (l *taskLayout) finish() {
	for i := range l.labels {
		t := &l.labels[i]
		if t.inside {
			band := l.bandBox(t.band)
			w, middle := taskStyle.Width(t.text), (band.Min.X+band.Max.X)/2
			t.box = vg.Rectangle{Min: vg.Point{X: middle - w/2, Y: band.Min.Y + 1}, Max: vg.Point{X: middle + w/2, Y: band.Max.Y - 1}}
			continue
		}
		t.box.Min.Y = l.bandsTop() + leaderGap + vg.Length(t.row)*lineStep
		t.box.Max.Y = t.box.Min.Y + lineStep
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
