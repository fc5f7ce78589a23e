package respirator

import (
	"time"

	"dustlog/internal/dust"
)

// replayStep is how often a replay asks, or half of Rules.Stale if that is less.
const replayStep = 5 * time.Second

// Replay lets a machine watch what was recorded from a moment on, and returns its
// answer for now. series are those of the sensors watched, one each. A recording
// knows one clock, so changes of it show by the readings' flags alone.
func Replay(m *Machine, series []*dust.Series, tasks []dust.Task, setups []dust.SetupPeriod, from, now time.Time) Status {
	step := min(replayStep, m.rules.Stale/2)
	next := make([]int, len(series))
	var last Status
	for at := from; ; {
		at = at.Add(step)
		if at.After(now) {
			at = now
		}
		for i, s := range series {
			for ; next[i] < s.Len(); next[i]++ {
				t, x, flags := s.At(next[i])
				if t.After(at) {
					break
				}
				var v dust.Values
				v.Set(s.Channel, x)
				m.Reading(Instant{t, t.Sub(from)}, dust.Reading{Time: t, Sensor: s.Sensor.Name, Values: v, Flags: flags})
			}
		}
		var known []dust.Task
		for _, t := range tasks {
			if !t.Start.After(at) {
				known = append(known, t)
			}
		}
		moment := Instant{at, at.Sub(from)}
		m.Diary(moment, known, dust.SetupAt(setups, at), nil)
		last = m.Step(moment)
		if !at.Before(now) {
			return last
		}
	}
}
