package clearance

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Input is what Analyse works on: one sensor's trace and the diary.
type Input struct {
	Trace      *Trace
	Background *Trace // the same channel at the background position; nil: none
	Tasks      []dust.Task
	Setups     []dust.SetupPeriod
	Setup      string         // show this one only; "": all
	Zone       *time.Location // nil: UTC
	Longest    time.Duration  // a record is cut after this; 0: DefaultLongest
	VolumeM3   float64        // of the room; 0: not known
	Level      float64        // to be reached, in the channel's unit; 0: none asked about
	// Setups with an air cleaner on and off, for its delivery rate; both or none.
	On, Off string
}

// DefaultLongest is how long a decay is watched after a task's end.
const DefaultLongest = time.Hour

func (in Input) withDefaults() Input {
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	if in.Longest == 0 {
		in.Longest = DefaultLongest
	}
	in.Setups = slices.Clone(in.Setups)
	slices.SortStableFunc(in.Setups, func(a, b dust.SetupPeriod) int { return a.From.Compare(b.From) })
	return in
}

func (in Input) check() error {
	if in.Trace == nil || in.Trace.Len() == 0 {
		return fmt.Errorf("clearance: %w from which a mean can be taken", dust.ErrNoReadings)
	}
	if c := in.Trace.Channel; !c.IsMass() && !(c >= dust.N03 && c <= dust.NPM10) {
		return fmt.Errorf("clearance of %s: only dust mass and particle numbers clear", c.Label())
	}
	if in.VolumeM3 < 0 || in.Level < 0 || !finite(in.VolumeM3) || !finite(in.Level) {
		return fmt.Errorf("clearance: volume %g m³, level %g: %w, both must be above zero", in.VolumeM3, in.Level, ErrBadInput)
	}
	if in.Longest < 0 {
		return fmt.Errorf("clearance: longest record %s: %w, it must be above zero", in.Longest, ErrBadInput)
	}
	if (in.On == "") != (in.Off == "") {
		return fmt.Errorf("clearance: name both setups, with the air cleaner on and off: %w", ErrBadInput)
	}
	for _, name := range []string{in.Setup, in.On, in.Off} {
		if name != "" && !slices.ContainsFunc(in.Setups, func(p dust.SetupPeriod) bool { return p.Setup == name }) {
			return fmt.Errorf("clearance: %w %q: the diary does not hold it", dust.ErrUnknownSetup, name)
		}
	}
	return nil
}

// work is a stretch in which some task was on, and what ended it.
type work struct {
	from, to time.Time // to is zero while a task is running
	last     string    // the task that ended last
}

// stretches joins the tasks that overlap. Tasks that cannot be are left out.
func stretches(tasks []dust.Task) (out []work, warnings []words.Text) {
	tasks = slices.Clone(tasks)
	slices.SortStableFunc(tasks, func(a, b dust.Task) int { return a.Start.Compare(b.Start) })
	for _, t := range tasks {
		if err := t.Check(); err != nil {
			warnings = append(warnings, words.Of("left out: %s", err.Error()))
			continue
		}
		n := len(out)
		if n == 0 || (!out[n-1].to.IsZero() && t.Start.After(out[n-1].to)) {
			out = append(out, work{t.Start, t.Stop, t.Name})
			continue
		}
		w := &out[n-1]
		if !w.to.IsZero() && (t.Running() || t.Stop.After(w.to)) {
			w.to, w.last = t.Stop, t.Name
		}
	}
	return out, warnings
}

// pause is a stretch without a task under one setup.
type pause struct {
	from, to time.Time
	after    string // the task that ended at from; "" if none did
	setup    string
	endedBy  words.Text
}

// pauses lists the stretches without work in the trace.
func (in Input) pauses(busy []work) (out []pause) {
	begin, end := in.Trace.means[0].time(), in.Trace.means[in.Trace.Len()-1].time().Add(stepMs*time.Millisecond)
	idle := pause{from: begin, endedBy: words.Of("the next task")}
	for _, w := range busy {
		idle.to = w.from
		out = append(out, idle)
		if w.to.IsZero() {
			return in.split(out)
		}
		idle = pause{from: w.to, after: w.last, endedBy: words.Of("the next task")}
	}
	idle.to, idle.endedBy = end, words.Of("the end of the readings")
	return in.split(append(out, idle))
}

// split cuts pauses where the setup changes and names the setups. Only the first
// part follows a task.
func (in Input) split(idle []pause) (out []pause) {
	var cuts []time.Time
	for _, p := range in.Setups {
		cuts = append(cuts, p.From)
		if !p.To.IsZero() {
			cuts = append(cuts, p.To)
		}
	}
	slices.SortFunc(cuts, time.Time.Compare)
	for _, p := range idle {
		for _, cut := range cuts {
			if cut.After(p.from) && cut.Before(p.to) && dust.SetupAt(in.Setups, p.from) != dust.SetupAt(in.Setups, cut) {
				first := p
				first.to, first.endedBy, first.setup = cut, words.Of("a change of the setup"), dust.SetupAt(in.Setups, p.from)
				out = append(out, first)
				p.from, p.after = cut, ""
			}
		}
		p.setup = dust.SetupAt(in.Setups, p.from)
		if p.to.After(p.from) {
			out = append(out, p)
		}
	}
	return out
}

// quietLevel is a day's lowest 10-min mean outside tasks and outside a record: what
// the same sensor reads in undisturbed air. ok is false if there is none.
func (in Input) quietLevel(busy []work, from, to time.Time) (level float64, ok bool) {
	y, m, d := from.In(in.Zone).Date()
	day := time.Date(y, m, d, 0, 0, 0, 0, in.Zone)
	means := in.Trace.between(day, day.AddDate(0, 0, 1))
	free := slices.DeleteFunc(slices.Clone(means), func(m mean) bool {
		at := m.time()
		return (!at.Before(from) && at.Before(to)) || working(busy, at)
	})
	const window, most = 30, 11 * time.Minute // 10 min, one may be missing
	var sum float64
	for i, m := range free {
		sum += m.c
		if i < window-1 {
			continue
		}
		first := free[i-window+1]
		if m.ms-first.ms <= most.Milliseconds() && (!ok || sum/window < level) {
			level, ok = sum/window, true
		}
		sum -= first.c
	}
	return level, ok
}

// working reports whether a task was on.
func working(busy []work, at time.Time) bool {
	i, found := slices.BinarySearchFunc(busy, at, func(w work, at time.Time) int { return cmp.Compare(w.from.UnixMilli(), at.UnixMilli()) })
	if !found {
		i--
	}
	return i >= 0 && (busy[i].to.IsZero() || at.Before(busy[i].to))
}
