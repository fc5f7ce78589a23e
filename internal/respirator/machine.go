package respirator

import (
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Instant is a moment by two clocks: the one on the wall, which people set, and one
// that only ever goes on.
type Instant struct {
	Wall    time.Time
	Elapsed time.Duration
}

const (
	// A wall clock that is off by more against the other since the last look was set.
	clockStep = 2 * time.Second
	// A diary not looked at for longer is not known.
	diaryStale = time.Minute
)

// Machine says, moment by moment, whether the respirator is still needed. Hand it
// readings, the diary and facts as they come, and ask Step at least every few
// seconds. It is not safe for use by several goroutines.
type Machine struct {
	rules   Rules
	watches []*watch
	facts   *Facts
	noFacts words.Text // why there are none

	tasks   []dust.Task
	setup   string
	diaryAt time.Duration
	busy    int        // so many tasks were running at the last look
	noDiary words.Text // why it is not known; zero if it is

	now        Instant
	clockSetAt time.Duration
	clockSet   bool

	lastStop time.Time     // the latest end of a task known
	offAt    time.Duration // elapsed; when the source went off, as far as is known
	restart  bool          // and the countdown from then has not begun yet
	offWhy   words.Text    // what is to be said until it has
	until    time.Duration // elapsed; the air is not clear before
	wasBack  bool          // it was, since the last task
	returned bool          // and then dust came back that no task explains

	recent []verdict
}

// verdict is an answer by itself, before the strictest of the last stretch is taken.
type verdict struct {
	at     time.Duration
	status Status
}

// NewMachine watches from a moment on. Until it has seen enough, the answer is
// keep it on.
func NewMachine(rules Rules, sensors []Watched, at Instant) *Machine {
	m := &Machine{rules: rules.withDefaults(), now: at, restart: true, offAt: at.Elapsed, offWhy: unseenAir, noDiary: words.Of("it was not read yet"), noFacts: words.Of("past days were not read yet")}
	for _, s := range sensors {
		m.watches = append(m.watches, newWatch(s, m.rules, at.Elapsed))
	}
	m.recent = []verdict{{at.Elapsed, Status{Time: at.Wall, State: exposure.KeepOn, Cause: Starting, Why: words.Of("watching has just begun")}}}
	return m
}

// Reading takes a reading. Those of sensors that are not watched are ignored.
func (m *Machine) Reading(at Instant, r dust.Reading) {
	for _, w := range m.watches {
		if w.Sensor.Name == r.Sensor {
			w.take(at.Elapsed, r)
		}
	}
}

// Diary takes the tasks around now and the setup in use. err says that they cannot
// be known.
func (m *Machine) Diary(at Instant, tasks []dust.Task, setup string, err error) {
	if err != nil {
		m.noDiary = words.OfError(err)
		return
	}
	m.tasks, m.setup, m.diaryAt, m.noDiary = tasks, setup, at.Elapsed, words.Text{}
	for _, t := range tasks {
		if !t.Running() && !t.Stop.After(at.Wall) && t.Stop.After(m.lastStop) {
			m.lastStop, m.wasBack, m.returned = t.Stop, false, false
			m.sourceOff(at.Elapsed, afterWork)
		}
	}
}

// What is said until a countdown has begun.
var (
	afterWork = words.Of("the dust of the work before is still spreading; how long it stays can be told two minutes after its end")
	unseenAir = words.Of("the air has not been watched for two minutes yet")
)

// sourceOff starts the countdown afresh.
func (m *Machine) sourceOff(at time.Duration, why words.Text) {
	m.restart, m.offAt, m.offWhy = true, at, why
}

// Learn takes what past days taught, in place of what was known. err says that
// nothing can be.
func (m *Machine) Learn(f Facts, err error) {
	if err != nil {
		m.facts, m.noFacts = nil, words.OfError(err)
		return
	}
	m.facts = &f
}

// Step is the answer at a moment, which must not lie before the last one by the
// clock that only goes on.
func (m *Machine) Step(at Instant) Status {
	missed := at.Elapsed - m.now.Elapsed
	m.look(at)
	status := m.judge(missed)
	status.Time = at.Wall
	m.recent = append(m.recent, verdict{at.Elapsed, status})
	old := 0
	for old < len(m.recent)-1 && m.recent[old].at < at.Elapsed-m.rules.Settle {
		old++
	}
	m.recent = m.recent[old:]
	answer := m.recent[0].status
	for _, v := range m.recent[1:] {
		if !answer.outranks(v.status) {
			answer = v.status
		}
	}
	answer.Time = at.Wall
	return answer
}

// look compares the two clocks.
func (m *Machine) look(at Instant) {
	drift := at.Wall.Sub(m.now.Wall) - (at.Elapsed - m.now.Elapsed)
	if drift.Abs() > clockStep {
		m.clockSet, m.clockSetAt = true, at.Elapsed
		m.lastStop = time.Time{} // by another clock
		m.sourceOff(at.Elapsed, unseenAir)
	}
	m.now = at
}

// judge is the strictest of everything there is to say; of equals the first.
func (m *Machine) judge(missed time.Duration) Status {
	var all []Status
	say := func(s Status) { all = append(all, s) }
	keep := func(c Cause, why words.Text) {
		say(Status{State: exposure.KeepOn, Cause: c, Why: why})
	}
	if len(m.watches) == 0 {
		say(Status{State: exposure.MaskCannotTell, Cause: NoSensor, Why: words.Of("no sensor sits in the breathing zone or the room")})
	}
	if m.clockSet && m.now.Elapsed-m.clockSetAt < m.rules.Settle {
		keep(Clock, words.Of("the computer's clock was changed, or the computer slept"))
	}
	if missed > m.rules.Stale {
		keep(NoData, words.Of("nobody looked for %s", seconds(missed)))
		m.sourceOff(m.now.Elapsed, unseenAir)
	}
	heard := true
	for _, w := range m.watches {
		if cause, why := w.trouble(m.now.Elapsed); cause != "" {
			keep(cause, why)
			if cause != Saturated {
				heard = false
				m.sourceOff(m.now.Elapsed, unseenAir) // who knows what was done meanwhile
			}
		}
	}
	switch age := m.now.Elapsed - m.diaryAt; {
	case !m.noDiary.IsZero():
		keep(NoDiary, words.Of("the diary is not known: %s", m.noDiary))
	case age > diaryStale:
		keep(NoDiary, words.Of("the diary was not read for %s", seconds(age)))
	case m.facts == nil:
		say(Status{State: exposure.MaskCannotTell, Cause: NotKnown, Why: m.noFacts})
	case heard && len(m.watches) > 0:
		running := m.running()
		if len(running) < m.busy { // also where an entry was taken back, which leaves no end
			m.sourceOff(m.now.Elapsed, afterWork)
		}
		m.busy = len(running)
		for _, t := range running {
			say(m.atWork(t))
		}
		say(m.clearing(len(running) > 0))
	}
	return strictest(all)
}

func strictest(all []Status) Status {
	s := all[0]
	for _, other := range all[1:] {
		if other.State.Strictness() > s.State.Strictness() {
			s = other
		}
	}
	return s
}

// running are the tasks under way. One that is said to end later counts, so a clock
// that was set back ends none.
func (m *Machine) running() (tasks []dust.Task) {
	for _, t := range m.tasks {
		if t.Running() || t.Stop.After(m.now.Wall) {
			tasks = append(tasks, t)
		}
	}
	return tasks
}
