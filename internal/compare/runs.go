package compare

import (
	"cmp"
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// leastUndiaried is how much of a session must be measured if no diary says
// when work was done.
const leastUndiaried = 15 * time.Minute

// run is one task from start to stop under one setup.
type run struct {
	task, material string
	side           side
	session        int // index into study.sessions
	start, stop    time.Time
	measured       measured
	changed        bool       // the setup changed while it ran
	why            words.Text // why it is left out; says nothing if it is in
	// Seconds that must be measured here and by the background sensor.
	need, needBackground float64
	tailEnd              time.Time     // to here its dust counts
	idle                 time.Duration // since a task last ended before it
	quiet                time.Duration // from its end to the next task, or a day
}

func (r run) seconds() float64 { return r.stop.Sub(r.start).Seconds() }

// session is an unbroken spell under one setup on one local day.
type session struct {
	group      int // spell group
	day        string
	side       side
	setup      string
	start, end time.Time
	why        words.Text // why it is left out
}

// study is what the diary and the readings say about the two setups.
type study struct {
	in       Input
	tasks    []dust.Task // all of the diary, in order
	spells   []spell     // of the two setups only
	runs     []run
	sessions []session
	excluded []Exclusion
	noDiary  bool
	spikes   *spikes
	grounds  map[string]*ground // by quantity
	analyses map[question]analysis
}

// newStudy sorts the diary into runs and sessions.
func newStudy(in Input) *study {
	st := &study{in: in, grounds: map[string]*ground{}, analyses: map[question]analysis{}}
	st.spikes = st.newSpikes()
	for _, s := range spells(in.Setups) {
		if s.setup == in.Before || s.setup == in.After {
			st.spells = append(st.spells, s)
		}
	}
	tasks := slices.Clone(in.Tasks)
	slices.SortStableFunc(tasks, func(a, b dust.Task) int {
		return cmp.Or(a.Start.Compare(b.Start), a.Stop.Compare(b.Stop),
			cmp.Compare(a.Name, b.Name), cmp.Compare(a.Person, b.Person), cmp.Compare(a.ID, b.ID))
	})
	st.tasks = tasks
	touched := false
	for _, t := range tasks {
		touched = st.addTask(t) || touched
	}
	if !touched {
		st.noDiary = true
		st.addUndiaried()
	}
	st.dropThinSessions()
	return st
}

// addTask adds the task's run. It reports whether the task concerns the setups.
func (st *study) addTask(t dust.Task) bool {
	name := words.Of("%s %s", t.Name, words.Time(t.Start.In(st.in.Zone), "2006-01-02 15:04"))
	changedSetup := words.Of("the setup changed while it ran")
	stop := t.Stop
	if t.Running() {
		stop = t.Start.Add(time.Millisecond)
	}
	i := slices.IndexFunc(st.spells, func(s spell) bool { return s.overlaps(t.Start, stop) })
	if i < 0 {
		return false
	}
	s := st.spells[i]
	if t.Start.Before(s.from) { // it began under another setup, so it is no session's run
		st.exclude("run", name, changedSetup)
		return true
	}
	r := run{task: t.Name, material: t.Material, start: t.Start, stop: stop}
	switch {
	case t.Running():
		r.why = words.Of("still running")
	case t.Check() != nil:
		r.why = words.Of("its start and stop make no sense")
	case !s.contains(t.Start, stop):
		r.why, r.stop, r.changed = changedSetup, s.to, true
	default:
		r.need, r.needBackground = leastMeasured*r.seconds(), leastBackground*r.seconds()
		r.idle, r.quiet, r.tailEnd = around(st.tasks, t, s.to)
		r.measured = measure(st.in.series(st.in.Metric), t.Start, stop, st.lookFor(rules{}))
		if r.measured.seconds < r.need {
			r.why = words.Of("measured for %.0f %% of its time, %.0f %% needed", math.Floor(100*r.measured.seconds/r.seconds()), 100*leastMeasured)
		}
	}
	st.add(s, r)
	if !r.why.IsZero() {
		st.exclude("run", name, r.why)
	}
	return true
}

// add puts the run into its session, a new one if need be.
func (st *study) add(s spell, r run) {
	day := r.start.In(st.in.Zone).Format(time.DateOnly)
	r.session = slices.IndexFunc(st.sessions, func(x session) bool { return x.group == s.group && x.day == day })
	if r.session < 0 {
		r.session = len(st.sessions)
		st.sessions = append(st.sessions, session{
			group: s.group, day: day, side: st.sideOf(s.setup), setup: s.setup, start: r.start, end: r.stop,
		})
	}
	x := &st.sessions[r.session]
	r.side = x.side
	if r.stop.After(x.end) {
		x.end = r.stop
	}
	if r.tailEnd.Before(r.stop) {
		r.tailEnd = r.stop
	}
	st.runs = append(st.runs, r)
}

func (st *study) sideOf(setup string) side {
	if setup == st.in.After {
		return after
	}
	return before
}

func (st *study) exclude(what string, name, why words.Text) {
	st.excluded = append(st.excluded, Exclusion{What: what, Name: name, Why: why})
}

// addUndiaried takes, for want of a diary, the whole measured time of each day
// under a setup as one run without a name.
func (st *study) addUndiaried() {
	series := st.in.series(st.in.Metric)
	first, last, _ := series.Bounds()
	for _, s := range st.spells {
		from, to := s.from, s.to
		if from.Before(first) {
			from = first
		}
		if to.IsZero() || to.After(last) {
			to = last
		}
		for from.Before(to) {
			end := nextMidnight(from, st.in.Zone)
			if end.After(to) {
				end = to
			}
			st.addDay(s, series, from, end)
			from = end
		}
	}
}

func (st *study) addDay(s spell, series *dust.Series, from, to time.Time) {
	var start, stop time.Time
	for p := range series.Spans(from, to) {
		if p.Unusable() != "" {
			continue
		}
		if start.IsZero() {
			start = time.UnixMilli(p.From).UTC()
		}
		stop = time.UnixMilli(p.To).UTC()
	}
	if start.IsZero() {
		return
	}
	r := run{start: start, stop: stop, need: leastUndiaried.Seconds(), measured: measure(series, start, stop, st.lookFor(rules{}))}
	r.needBackground = leastBackground * r.measured.seconds
	if r.measured.seconds < r.need {
		r.why = words.Of("measured for %.0f min, %.0f min needed", r.measured.seconds/60, leastUndiaried.Minutes())
		st.exclude("run", words.Time(start.In(st.in.Zone), "2006-01-02 15:04").Text(), r.why)
	}
	st.add(s, r)
}

// nextMidnight is the start of the local day after t's.
func nextMidnight(t time.Time, zone *time.Location) time.Time {
	y, m, d := t.In(zone).Date()
	return time.Date(y, m, d+1, 0, 0, 0, 0, zone)
}

// dropThinSessions leaves out sessions that lost more than a quarter of their
// runs: what is left of them may be the quiet or the loud part.
func (st *study) dropThinSessions() {
	for i := range st.sessions {
		seen, kept := 0, 0
		for _, r := range st.runs {
			if r.session == i {
				seen++
				if r.why.IsZero() {
					kept++
				}
			}
		}
		if float64(kept) < leastMeasured*float64(seen) {
			st.dropSession(i, words.Plural(seen, "only %[2]d of its %[1]d run can be used, %.0[3]f %% needed", "only %[2]d of its %[1]d runs can be used, %.0[3]f %% needed", seen, kept, 100*leastMeasured))
		}
	}
}

// dropSession leaves session i out, once.
func (st *study) dropSession(i int, why words.Text) {
	x := &st.sessions[i]
	if !x.why.IsZero() {
		return
	}
	x.why = why
	st.exclude("session", st.sessionName(i), why)
}

func (st *study) sessionName(i int) words.Text {
	x := st.sessions[i]
	return words.Of("%s %s, %s", words.Day(x.day), words.Clock(x.start.In(st.in.Zone)), x.setup)
}
