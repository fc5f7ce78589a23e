package compare

import (
	"time"

	"dustlog/internal/dust"
)

// longestTail is how long after a run its dust is counted at most.
const longestTail = 15 * time.Minute

// stretch is a piece of time.
type stretch struct{ from, to time.Time }

// around tells how much time lies between a task and its neighbours, at most a
// day: since any task last ended before it, until the next begins or the setup
// changes, and to where its dust counts. Tasks under any setup and of any person
// count; until is where the setup changes, or zero.
func around(tasks []dust.Task, t dust.Task, until time.Time) (idle, quiet time.Duration, tailEnd time.Time) {
	const day = 24 * time.Hour
	idle = day
	next := t.Stop.Add(day)
	if !until.IsZero() && until.Before(next) {
		next = until
	}
	for _, u := range tasks {
		if u == t {
			continue
		}
		if u.Start.Before(t.Start) {
			ended := u.Stop
			if u.Running() || ended.After(t.Start) {
				ended = t.Start
			}
			idle = min(idle, t.Start.Sub(ended))
		}
		if u.Start.Before(next) && (u.Running() || u.Stop.After(t.Stop)) {
			next = later(u.Start, t.Stop)
		}
	}
	quiet = next.Sub(t.Stop)
	return idle, quiet, t.Stop.Add(min(quiet, longestTail))
}

// quietStretches lists the time under the two setups without a task, on days of
// which the diary holds one, from the end of the last task (or the day's begin).
func (st *study) quietStretches() (out []stretch) {
	busy := st.busy()
	for _, s := range st.spells {
		for _, day := range st.diaryDays() {
			from, to := later(s.from, day.from), day.to
			if !s.to.IsZero() && s.to.Before(to) {
				to = s.to
			}
			for _, b := range busy {
				if !b.to.After(from) {
					continue
				}
				if !b.from.Before(to) {
					break
				}
				if b.from.After(from) {
					out = append(out, stretch{from, b.from})
				}
				from = later(from, b.to)
			}
			if from.Before(to) {
				out = append(out, stretch{from, to})
			}
		}
	}
	return out
}

// idleStretches lists the quiet time that begins wait after the last task.
func (st *study) idleStretches(wait time.Duration) (out []stretch) {
	busy := st.busy()
	for _, s := range st.quietStretches() {
		from := s.from
		for _, b := range busy {
			if !b.to.After(s.from) {
				from = later(from, b.to.Add(wait))
			}
		}
		if from.Before(s.to) {
			out = append(out, stretch{from, s.to})
		}
	}
	return out
}

// busy merges the tasks of the diary into stretches, in order. A running task
// is busy to the end of time.
func (st *study) busy() (out []stretch) {
	for _, t := range st.tasks {
		stop := t.Stop
		if t.Running() {
			stop = t.Start.AddDate(100, 0, 0)
		}
		if n := len(out); n > 0 && !t.Start.After(out[n-1].to) {
			out[n-1].to = later(out[n-1].to, stop)
			continue
		}
		out = append(out, stretch{t.Start, stop})
	}
	return out
}

// diaryDays lists the local days on which a task of the diary began, in order.
func (st *study) diaryDays() (out []stretch) {
	for _, t := range st.tasks {
		if n := len(out); n > 0 && t.Start.Before(out[n-1].to) {
			continue
		}
		end := nextMidnight(t.Start, st.in.Zone)
		y, m, d := t.Start.In(st.in.Zone).Date()
		out = append(out, stretch{time.Date(y, m, d, 0, 0, 0, 0, st.in.Zone), end})
	}
	return out
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
