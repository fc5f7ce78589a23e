package respirator

import (
	"encoding/json"
	"math"
	"time"

	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Cause is why the state is what it is, as one word for scripts.
type Cause string

// The causes.
const (
	Starting  Cause = "starting"  // nothing is known yet
	NoSensor  Cause = "no_sensor" // none where someone breathes
	NoData    Cause = "no_data"   // readings are missing, late or unusable
	Saturated Cause = "saturated" // a sensor at the top of its range
	Clock     Cause = "clock"     // the clock was changed
	NoDiary   Cause = "no_diary"  // the diary cannot be read
	AtWork    Cause = "task"      // the task that is running
	Dust      Cause = "dust"      // dust that no task of the diary explains, or above a limit
	Clear     Cause = "clearing"  // the air after work
	NotKnown  Cause = "not_known" // past days do not tell how this room clears
	Idle      Cause = "idle"      // nothing dusty is going on
	Ended     Cause = "ended"     // the program has stopped watching
)

// Status is the answer for one moment.
type Status struct {
	Time  time.Time          `json:"time"`
	State exposure.MaskState `json:"state"`
	Cause Cause              `json:"cause"`
	Why   words.Text         `json:"why"`
	Task  string             `json:"task,omitempty"`
	// KeepOnUntil is an upper bound while the air clears. nil: no end can be told.
	KeepOnUntil *time.Time `json:"keep_on_until"`
	LevelUgM3   *float64   `json:"level_ug_m3"` // highest mean of 20 s and of 2 min, of the sensors watched
	BackUgM3    *float64   `json:"back_ug_m3"`  // at or below counts as back at the level without work
}

// outranks reports whether s holds though other is newer: by its state, or because
// trouble with the watching itself is told before anything else.
func (s Status) outranks(other Status) bool {
	if a, b := s.State.Strictness(), other.State.Strictness(); a != b {
		return a > b
	}
	return s.Cause.trouble() && !other.Cause.trouble()
}

func (c Cause) trouble() bool { return c == NoData || c == Clock || c == NoDiary }

// Word is the state as one word for scripts.
func (s Status) Word() string {
	switch s.State {
	case exposure.NotShownNeeded:
		return "not_shown_needed"
	case exposure.MaskCannotTell:
		return "cannot_tell"
	}
	return "keep_on"
}

// KeptOn reports whether the respirator stays on: in every state but one, so "cannot
// tell" and what nobody has thought of count as keep it on.
func (s Status) KeptOn() bool { return s.State != exposure.NotShownNeeded }

// MarshalJSON adds keep_on, so that nobody has to know what the states mean.
func (s Status) MarshalJSON() ([]byte, error) {
	type fields Status
	return json.Marshal(struct {
		fields
		KeepOn bool `json:"keep_on"`
	}{fields(s), s.KeptOn()})
}

// Minutes left until KeepOnUntil, rounded up; ok is false if there is no end.
func (s Status) Minutes() (n int, ok bool) {
	if s.KeepOnUntil == nil {
		return 0, false
	}
	return int(math.Ceil(max(0, s.KeepOnUntil.Sub(s.Time).Minutes()))), true
}

// Line is the state in one line, times in a zone.
func (s Status) Line(zone *time.Location) words.Text {
	state := s.State.Text()
	if s.State == exposure.MaskCannotTell {
		state = words.Of("cannot tell, so keep it on")
	}
	if n, ok := s.Minutes(); ok {
		more := words.Plural(max(n, 1), "%d more minute", "%d more minutes", max(n, 1))
		return words.Of("%s for %s, until %s at the latest: %s", state, more, words.Clock(s.KeepOnUntil.In(zone)), s.Why)
	}
	return words.Of("%s: %s", state, s.Why)
}

// Stopped is the status when nobody watches any more.
func Stopped(at time.Time) Status {
	return Status{Time: at, State: exposure.KeepOn, Cause: Ended, Why: words.Of("dustlog is no longer watching")}
}
