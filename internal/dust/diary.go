package dust

import (
	"fmt"
	"slices"
	"time"
)

// Task is a stretch of work as the diary tells it.
type Task struct {
	ID       int64     `json:"id"`
	Name     string    `json:"task"` // what was done, as in "sanding"
	Material string    `json:"material,omitempty"`
	Person   string    `json:"person,omitempty"`
	Start    time.Time `json:"start"`
	Stop     time.Time `json:"stop,omitzero"` // zero while the task is running
}

// Running reports whether the task has not been stopped yet.
func (t Task) Running() bool { return t.Stop.IsZero() }

// Overlaps reports whether t and u share time. A running task has no end.
// Tasks of two different named persons may share time.
func (t Task) Overlaps(u Task) bool {
	if t.Person != u.Person && t.Person != "" && u.Person != "" {
		return false
	}
	return (u.Stop.IsZero() || t.Start.Before(u.Stop)) && (t.Stop.IsZero() || u.Start.Before(t.Stop))
}

// Check reports what is wrong with the task itself.
func (t Task) Check() error {
	if t.Name == "" {
		return fmt.Errorf("task has no name")
	}
	if !t.Stop.IsZero() && !t.Stop.After(t.Start) {
		return fmt.Errorf("task %q stops at %s, not after its start at %s: %w",
			t.Name, t.Stop.Format(time.RFC3339), t.Start.Format(time.RFC3339), ErrTimeBackwards)
	}
	return nil
}

// Setup is a named state of the dust collection: which blower, separator,
// filter, hood and gates were in use.
type Setup struct {
	Name string `json:"setup"`
	Note string `json:"note,omitempty"`
}

// SetupPeriod is a stretch of time under one setup.
type SetupPeriod struct {
	Setup string    `json:"setup"`
	From  time.Time `json:"from"`
	To    time.Time `json:"to,omitzero"` // zero while it lasts
}

// SetupAt returns the setup in use at t, or "" if none was declared.
func SetupAt(periods []SetupPeriod, t time.Time) string {
	for _, p := range slices.Backward(periods) {
		if !t.Before(p.From) && (p.To.IsZero() || t.Before(p.To)) {
			return p.Setup
		}
	}
	return ""
}
