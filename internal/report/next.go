package report

import (
	"math"
	"slices"
	"strings"

	"dustlog/internal/compare"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// next is what to do tomorrow, from the results, for the one who runs the shop.
func next(in Input) []words.Text {
	var out []words.Text
	if in.Airflow != nil {
		for _, stop := range in.Airflow.Stops {
			out = append(out, words.Of("STOP: %s.", stop))
		}
	}
	var on []string
	for _, m := range tasksOf(in) {
		if m.State != exposure.NotShownNeeded {
			on = append(on, m.Label())
		}
	}
	if len(on) > 0 {
		tasks := strings.Join(on, ", ")
		if minutes, ok := longestWait(in); ok {
			out = append(out, words.Of("Wear the respirator for %s, and keep it on for %.0f minutes after; new dust starts them again.", tasks, math.Ceil(minutes)))
		} else {
			out = append(out, words.Of("Wear the respirator for %s; how long after is not known, so wait until a reading is back at the level of the morning.", tasks))
		}
	}
	if task, n, of := dustiestTask(in.Exposure); n > 0 {
		out = append(out, words.Of("Work on the capture of %s first: it brought the largest part of the measured dose in %d of %d shifts.", task, n, of))
	}
	if help := firstHelp(in); !help.IsZero() {
		out = append(out, help)
	}
	if r := in.Compare; r != nil {
		out = append(out, afterComparing(*r)...)
	} else {
		out = append(out, words.Of("To learn whether a change helps, name both states with `dustlog setup` and let them take turns for some days each."))
	}
	return append(out, words.Of("Ask an occupational hygienist for filter samples in the breathing zone: only they can be held against a limit for inhalable dust."))
}

// longestWait is the longest upper bound of the setup in use; ok is false if some
// place has none.
func longestWait(in Input) (minutes float64, ok bool) {
	if in.Respirator == nil {
		return 0, false
	}
	for _, c := range in.Respirator.Clearing {
		if !c.InUse {
			continue
		}
		if c.MinutesUpper == nil {
			return 0, false
		}
		minutes, ok = max(minutes, *c.MinutesUpper), true
	}
	return minutes, ok
}

// dustiestTask is the task that had the largest share of the dose in most shifts.
func dustiestTask(r exposure.Result) (task string, shifts, of int) {
	first := map[string]int{}
	for _, s := range breathingZone(r).Shifts {
		if len(s.TaskDoseShares) == 0 {
			continue
		}
		of++
		most := slices.MaxFunc(s.TaskDoseShares, func(a, b exposure.TaskDose) int {
			switch {
			case a.Share < b.Share:
				return -1
			case a.Share > b.Share:
				return 1
			}
			return strings.Compare(b.Task, a.Task)
		})
		if most.Task != "" {
			first[most.Task]++
		}
	}
	for _, name := range sortedKeys(first) {
		if first[name] > shifts {
			task, shifts = name, first[name]
		}
	}
	return task, shifts, of
}

func afterComparing(r compare.Result) []words.Text {
	var out []words.Text
	switch r.Verdict {
	case compare.ReducedEnough, compare.ReducedLess, compare.ReducedUncertain:
		out = append(out, words.Of("Keep “%s”.", r.After))
	case compare.Increased:
		out = append(out, words.Of("Go back to “%s”, or find what leaks: “%s” showed more dust.", r.Before, r.After))
	default:
		text := words.Of("Do not count on “%s” yet: no reduction is shown, which is not the same as none.", r.After)
		if r.MoreSessions != nil && *r.MoreSessions > 0 {
			text = words.Join(" ", text, words.Of("About %d more %s under each setup would tell.", *r.MoreSessions, r.UnitsText()))
		}
		out = append(out, text)
	}
	if !r.Caution.IsZero() {
		out = append(out, words.Of("If someone is to be convinced, let “%s” and “%s” take turns for some days: one block of each proves little.", r.Before, r.After))
	}
	return out
}
