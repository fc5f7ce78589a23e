package exposure

import (
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// taskRun is one sensor over one run, with what the respirator question needs.
type taskRun struct {
	TaskResult
	run     int // index of the run in the diary, shared by its sensors
	channel dust.Channel
	m       measured
}

// checkTasks drops tasks that cannot be, and sorts the others by their start.
func checkTasks(tasks []dust.Task) (kept []dust.Task, warnings []words.Text) {
	for _, t := range tasks {
		if err := t.Check(); err != nil {
			warnings = append(warnings, words.Of("left out: %s", words.OfError(err)))
			continue
		}
		kept = append(kept, t)
	}
	slices.SortStableFunc(kept, func(a, b dust.Task) int { return a.Start.Compare(b.Start) })
	return kept, warnings
}

// closeTasks ends running tasks with the last reading, since the package sees no
// clock. open says which of them begin later: they are not there yet.
func closeTasks(tasks []dust.Task, last time.Time) (closed []dust.Task, open []bool, warnings []words.Text) {
	closed, open = slices.Clone(tasks), make([]bool, len(tasks))
	for i := range closed {
		t := &closed[i]
		if !t.Running() {
			continue
		}
		if open[i] = !last.After(t.Start); open[i] {
			warnings = append(warnings, words.Of("left out: task %q is running and has no reading yet", t.Name))
			continue
		}
		t.Stop = last
		warnings = append(warnings, words.Of("task %q is still running: counted up to the last reading", t.Name))
	}
	return closed, open, warnings
}

// runTasks is every run with every sensor that was recording at all then.
func (a *Assessor) runTasks(tasks []dust.Task, open []bool) (runs []taskRun, warnings []words.Text) {
	for i, t := range tasks {
		if open[i] {
			continue
		}
		seen := false
		for _, track := range a.tracks {
			if !track.recording(t.Start, t.Stop) {
				continue
			}
			r := newTaskRun(a.in, i, t, track)
			runs = append(runs, r)
			seen = seen || r.m.ms > 0
		}
		if !seen {
			warnings = append(warnings, words.Of("task %q from %s has no usable reading from any sensor", t.Name, words.Time(t.Start.UTC(), "2006-01-02T15:04:05Z07:00")))
		}
	}
	return runs, warnings
}

func newTaskRun(in Input, i int, t dust.Task, track *Track) taskRun {
	m := measured{from: t.Start, to: t.Stop, sums: track.runs[i]}
	r := taskRun{run: i, channel: track.channel, m: m, TaskResult: TaskResult{
		Task: t.Name, Material: t.Material, Start: t.Start, Stop: t.Stop,
		Sensor: track.sensor.Name, Position: track.sensor.Position, Setup: setupsIn(in.Setups, t.Start, t.Stop),
		Minutes: t.Stop.Sub(t.Start).Minutes(), MinutesMeasured: m.minutes(), MeanMgM3: m.mean(),
	}}
	if r.MeanMgM3 == nil {
		r.Why = words.Of("no usable reading during this run%s", excludedText(&m.sums))
		return r
	}
	r.DoseMgMinM3 = milligrams(m.dose / msPerMinute)
	return r
}

// setupsIn lists the setups declared in [from, to), in order, joined by ", ".
func setupsIn(periods []dust.SetupPeriod, from, to time.Time) string {
	var names []string
	for _, p := range periods {
		if p.From.Before(to) && (p.To.IsZero() || from.Before(p.To)) && !slices.Contains(names, p.Setup) {
			names = append(names, p.Setup)
		}
	}
	return strings.Join(names, ", ")
}

// TaskDoseShares splits a shift's measured dose by task. Spans must be usable, in
// time order and apart. Where tasks of several persons overlap, the time counts
// once and is split equally between the runs. Time outside tasks is task "". The
// shares add up to 1; with no dose there are none.
func TaskDoseShares(spans []dust.Span, tasks []dust.Task, from, to time.Time) []TaskDose {
	return stretchOf(spans, from, to).taskShares(tasks)
}

func (s *stretch) taskShares(tasks []dust.Task) []TaskDose {
	var inside []dust.Task
	for _, t := range tasks {
		if t.Start.UnixMilli() < s.to && (t.Running() || t.Stop.UnixMilli() > s.from) {
			inside = append(inside, t)
		}
	}
	var doses []TaskDose
	total := 0.0
	lastDose, lastMs := s.upTo(s.from)
	for _, edge := range edges(inside, s.from, s.to) {
		dose, ms := s.upTo(edge)
		addDose(&doses, active(inside, edge), dose-lastDose, float64(ms-lastMs)/msPerMinute)
		total += dose - lastDose
		lastDose, lastMs = dose, ms
	}
	if !(total > 0) || !finite(total) {
		return []TaskDose{}
	}
	for i := range doses {
		doses[i].Share /= total
	}
	// The rest of the shift comes last.
	slices.SortStableFunc(doses, func(a, b TaskDose) int { return restLast(a) - restLast(b) })
	return doses
}

func restLast(d TaskDose) int {
	if d.Task == "" {
		return 1
	}
	return 0
}

// edges are the ends, in ms, of the pieces of [lo, hi) in which no task starts
// or stops.
func edges(tasks []dust.Task, lo, hi int64) []int64 {
	all := []int64{hi}
	for _, t := range tasks {
		all = append(all, t.Start.UnixMilli())
		if !t.Running() {
			all = append(all, t.Stop.UnixMilli())
		}
	}
	slices.Sort(all)
	return slices.DeleteFunc(slices.Compact(all), func(ms int64) bool { return ms <= lo || ms > hi })
}

// active names the runs under way in the piece that ends at edge; [""] if none.
func active(tasks []dust.Task, edge int64) []string {
	var names []string
	for _, t := range tasks {
		if t.Start.UnixMilli() < edge && (t.Running() || t.Stop.UnixMilli() >= edge) {
			names = append(names, t.Name)
		}
	}
	if len(names) == 0 {
		return []string{""}
	}
	return names
}

func addDose(doses *[]TaskDose, names []string, dose, minutes float64) {
	if minutes <= 0 {
		return
	}
	n := float64(len(names))
	for _, name := range names {
		i := slices.IndexFunc(*doses, func(d TaskDose) bool { return d.Task == name })
		if i < 0 {
			i = len(*doses)
			*doses = append(*doses, TaskDose{Task: name})
		}
		(*doses)[i].Minutes += minutes / n
		(*doses)[i].Share += dose / n // made a share of the total at the end
	}
}
