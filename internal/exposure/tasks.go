package exposure

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// taskRun is one sensor over one run, with what the respirator question needs.
type taskRun struct {
	TaskResult
	run    int // index of the run in the diary, shared by its sensors
	series *dust.Series
	m      measured
}

// closeTasks drops tasks that cannot be, and ends running ones with the last
// reading, since the package sees no clock.
func closeTasks(tasks []dust.Task, series []*dust.Series) (kept []dust.Task, warnings []string) {
	var last time.Time
	for _, s := range series {
		if _, to, ok := s.Bounds(); ok && to.After(last) {
			last = to
		}
	}
	for _, t := range tasks {
		if t.Running() {
			t.Stop = last
			if last.After(t.Start) {
				warnings = append(warnings, fmt.Sprintf("task %q is still running: counted up to the last reading", t.Name))
			}
		}
		if err := t.Check(); err != nil {
			warnings = append(warnings, "left out: "+err.Error())
			continue
		}
		kept = append(kept, t)
	}
	slices.SortStableFunc(kept, func(a, b dust.Task) int { return a.Start.Compare(b.Start) })
	return kept, warnings
}

// runTasks measures every run with every sensor that was recording at all then.
func runTasks(in Input, tasks []dust.Task) (runs []taskRun, warnings []string) {
	for i, t := range tasks {
		seen := false
		for _, s := range in.Series {
			if !recording(s, t.Start, t.Stop) {
				continue
			}
			r := newTaskRun(in, i, t, s)
			runs = append(runs, r)
			seen = seen || r.m.ms > 0
		}
		if !seen {
			warnings = append(warnings, fmt.Sprintf("task %q from %s has no usable reading from any sensor", t.Name, t.Start.UTC().Format(time.RFC3339)))
		}
	}
	return runs, warnings
}

func newTaskRun(in Input, i int, t dust.Task, s *dust.Series) taskRun {
	m := tally(s, t.Start, t.Stop, func(dust.Span) {})
	r := taskRun{run: i, series: s, m: m, TaskResult: TaskResult{
		Task: t.Name, Material: t.Material, Start: t.Start, Stop: t.Stop,
		Sensor: s.Sensor.Name, Position: s.Sensor.Position, Setup: setupsIn(in.Setups, t.Start, t.Stop),
		Minutes: t.Stop.Sub(t.Start).Minutes(), MinutesMeasured: m.minutes(), MeanMgM3: m.mean(),
	}}
	if r.MeanMgM3 == nil {
		r.Why = "no usable reading during this run" + excludedText(m)
		return r
	}
	r.DoseMgMinM3 = milligrams(m.dose / msPerMinute)
	return r
}

// recording reports whether [from, to) touches the series at all.
func recording(s *dust.Series, from, to time.Time) bool {
	first, last, ok := s.Bounds()
	return ok && first.Before(to) && from.Before(last)
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
	inside := slices.DeleteFunc(slices.Clone(tasks), func(t dust.Task) bool {
		return !t.Start.Before(to) || !(t.Running() || t.Stop.After(from))
	})
	var doses []TaskDose
	total := 0.0
	c := cursor{spans: spans}
	lastDose, lastMs := c.at(from.UnixMilli())
	for _, edge := range edges(inside, from, to) {
		dose, ms := c.at(edge)
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

// edges are the ends, in ms, of the pieces of [from, to) in which no task starts
// or stops.
func edges(tasks []dust.Task, from, to time.Time) []int64 {
	lo, hi := from.UnixMilli(), to.UnixMilli()
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
