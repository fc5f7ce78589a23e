package respirator

import (
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

const microgramsPerMilligram = 1000

// atWork is the answer for a task that is running, from its past runs and from
// what the sensors at the person read now.
func (m *Machine) atWork(t dust.Task) Status {
	name := exposure.MaskResult{Task: t.Name, Material: strings.ToLower(strings.TrimSpace(t.Material))}.Label()
	s := Status{State: exposure.MaskCannotTell, Cause: AtWork, Task: name}
	if why := exposure.KeepsOn(t.Name, t.Material, m.facts.Materials); !why.IsZero() {
		s.State, s.Why = exposure.KeepOn, words.Of("%s: %s", name, why)
		return s
	}
	mask := m.facts.mask(t.Name, t.Material)
	switch {
	case mask == nil:
		s.Why = words.Of("%s: no run of it was measured in the breathing zone yet", name)
	case mask.Setup != m.setup:
		s.Why = words.Of("%s: its runs were under another setup (%s)", name, orNone(mask.Setup))
	default:
		state, why := m.during(*mask)
		s.State, s.Why = state, words.Of("%s: %s", name, why)
	}
	return s
}

// during is a mask's answer while the task goes on: past runs settle nothing if it
// is dustier now than in the dustiest of them. The level to which their spread leads
// is no measure here: the less sure it were, the more it would let pass.
func (m *Machine) during(mask exposure.MaskResult) (exposure.MaskState, words.Text) {
	if mask.State != exposure.NotShownNeeded {
		return mask.State, mask.Why
	}
	if mask.HazardRatioAtMost == nil || mask.HighestMeanMgM3 == nil || !(*mask.HighestMeanMgM3 > 0) {
		return exposure.MaskCannotTell, words.Of("its runs give no ratio to the limit to hold the present air against")
	}
	perMgM3 := *mask.HazardRatioAtMost / *mask.HighestMeanMgM3
	highest := *mask.HazardRatioAtMost
	state, why, seen := exposure.NotShownNeeded, mask.Why, false
	for _, w := range m.watches {
		if !w.speaksForPerson() {
			continue
		}
		seen = true
		switch ratio := w.mean(longMean) / microgramsPerMilligram * perMgM3; {
		case ratio > 1:
			return exposure.KeepOn, words.Of("over the last two minutes %.3g times the limit, with the most that the factor leaves", ratio)
		case ratio > highest:
			state, why = exposure.MaskCannotTell, words.Of("over the last two minutes it is dustier (up to %.2g times the limit) than in any of its past runs (%.2g)", ratio, highest)
		}
	}
	if !seen {
		return exposure.MaskCannotTell, words.Of("no sensor sits in the breathing zone now")
	}
	return state, why
}

// clearing is the answer for the air that work leaves behind, and moves the
// countdown on. busy: a task is running, whose own dust is in the air too.
func (m *Machine) clearing(busy bool) Status {
	var all []Status
	known, needed, above := true, 0.0, (*watch)(nil)
	level, back := 0.0, 0.0
	for _, w := range m.watches {
		now := w.level()
		level = max(level, now)
		if m.facts.LimitUgM3 > 0 && now > m.facts.LimitUgM3 {
			all = append(all, Status{State: exposure.KeepOn, Cause: Dust,
				Why: words.Of("sensor %q reads %.0f µg/m³: the fine part alone is above the lowest limit, %.0f µg/m³", w.Sensor.Name, now, m.facts.LimitUgM3)})
		}
		c := m.facts.clearing(w.Sensor.Name, m.setup)
		if c == nil {
			known = false
			all = append(all, Status{State: exposure.MaskCannotTell, Cause: NotKnown,
				Why: words.Of("for sensor %q under setup %q no decay after work was measured yet, so nothing is known of how fast dust leaves the air and of the level without work", w.Sensor.Name, orNone(m.setup))})
			continue
		}
		back = max(back, c.Back())
		minutes, why, ok := c.until(now)
		if !ok {
			known = false
			all = append(all, Status{State: exposure.MaskCannotTell, Cause: NotKnown, Why: words.Of("sensor %q: %s", w.Sensor.Name, why)})
		}
		if now > c.Back() && above == nil {
			above = w
		}
		needed = max(needed, minutes)
	}
	if !(m.facts.LimitUgM3 > 0) {
		all = append(all, Status{State: exposure.MaskCannotTell, Cause: NotKnown, Why: words.Of("no limit is known to hold the air against")})
	}
	m.countDown(known, busy, above != nil, needed)
	if m.saturated() { // what it read is too little to count down from
		m.restart, known = true, false
	}
	if s := m.waiting(known, busy, above); s.State != "" {
		all = append(all, s)
	}
	all = append(all, idle(busy))
	s := strictest(all)
	s.LevelUgM3 = &level
	if back > 0 {
		s.BackUgM3 = &back
	}
	return s
}

// countDown moves the end of the countdown, only ever later. Right after the source
// went off the plume at the bench is not yet the room's air, and dust may still be on
// its way to the sensor: the countdown begins when neither mean knows of it any more.
func (m *Machine) countDown(known, busy, above bool, minutes float64) {
	if !known || m.spreading() {
		return
	}
	if m.restart || above && !busy {
		m.until = max(m.until, m.now.Elapsed+time.Duration(minutes*float64(time.Minute)))
		m.restart = false
	}
	switch {
	case busy:
	case above && m.wasBack:
		m.returned = true
	case !above && m.now.Elapsed >= m.until:
		m.wasBack, m.returned = true, false
	}
}

// saturated reports whether a mean holds a reading from the top of a sensor's range.
func (m *Machine) saturated() bool { return slices.ContainsFunc(m.watches, (*watch).saturated) }

// spreading reports whether the source has only just gone off.
func (m *Machine) spreading() bool { return m.restart && m.now.Elapsed-m.offAt < longMean }

// waiting is the answer while the air is not clear; no state if it is.
func (m *Machine) waiting(known, busy bool, above *watch) Status {
	s := Status{State: exposure.KeepOn, Cause: Clear}
	if known && m.now.Elapsed < m.until {
		end := m.now.Wall.Add(m.until - m.now.Elapsed + m.rules.Settle)
		s.KeepOnUntil = &end
	}
	switch {
	case m.spreading():
		s.KeepOnUntil = nil
		s.Why = m.offWhy
	case above != nil && !busy:
		s.Why = words.Of("the air is not back at the level without work: sensor %q reads %.0f µg/m³", above.Sensor.Name, above.level())
	case s.KeepOnUntil != nil:
		s.Why = words.Of("the dust is still leaving the air, at the slowest rate that past days let expect")
	default:
		return Status{}
	}
	if m.returned {
		s.Cause, s.Why = Dust, words.Of("dust came back though no task is in the diary; %s", s.Why)
	}
	return s
}

// idle is the laxest answer that there is.
func idle(busy bool) Status {
	if busy {
		return Status{State: exposure.NotShownNeeded, Cause: AtWork, Why: words.Of("the air left by the work before has cleared")}
	}
	return Status{State: exposure.NotShownNeeded, Cause: Idle,
		Why: words.Of("nothing dusty is in the diary and fine dust is back at the level without work; coarse dust, which the sensor does not see, falls out faster than fine; the next task, sweeping or emptying starts it afresh")}
}

func orNone(setup string) words.Text {
	if setup == "" {
		return words.Of("none declared")
	}
	return words.Literal(setup)
}
