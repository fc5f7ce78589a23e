package plots

import (
	"slices"
	"strconv"
	"time"

	"gonum.org/v1/plot/vg"

	"dustlog/internal/dust"
	"dustlog/internal/words"
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
	if l.placeLabels(x0, x1, full, 0, false) || l.shortNamesTell() && l.placeLabels(x0, x1, short, 0, false) {
		return l
	}
	l.numbered = true
	l.placeLabels(x0, x1, func(b taskBand) string { return strconv.Itoa(b.number) }, 30, true)
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

// placeLabels puts each band's words into it, or into one of the rows above, at
// most aside points right of the band's middle. Words that find no room are
// dropped if they may be; if not, it gives up and returns false.
func (l *taskLayout) placeLabels(x0, x1 vg.Length, wordsOf func(taskBand) string, aside vg.Length, mayDrop bool) bool {
	end := [mostRows]vg.Length{x0, x0}
	l.labels, l.rows = nil, 0
	for i, b := range l.bands {
		label := taskLabel{text: wordsOf(b), band: i}
		w := taskStyle.Width(label.text) + 2*labelPad
		if w <= b.x1-b.x0 {
			label.inside, label.box = true, l.bandBox(i)
			label.box.Min.X, label.box.Max.X = (b.x0+b.x1-w)/2, (b.x0+b.x1+w)/2
			l.labels = append(l.labels, label)
			continue
		}
		wanted := min(max((b.x0+b.x1-w)/2, x0), x1-w)
		row := slices.IndexFunc(end[:], func(e vg.Length) bool { return e <= wanted })
		if row < 0 {
			row = slices.Index(end[:], slices.Min(end[:]))
		}
		left := max(wanted, end[row])
		if left > wanted+aside || left+w > x1 {
			if !mayDrop {
				return false
			}
			l.dropped++
			continue
		}
		end[row] = left + w
		l.rows = max(l.rows, row+1)
		y := l.bandsTop() + leaderGap + vg.Length(row)*lineStep
		label.box = vg.Rectangle{Min: vg.Point{X: left, Y: y}, Max: vg.Point{X: left + w, Y: y + lineStep}}
		l.labels = append(l.labels, label)
	}
	return true
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
			out = append(out, entry{text: words.Of("and %d more", len(l.names)-most)})
			break
		}
		out = append(out, entry{text: words.Literal(strconv.Itoa(i+1) + " " + name)})
	}
	return out
}
