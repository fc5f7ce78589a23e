package collect

import (
	"time"

	"dustlog/internal/dust"
)

// Clock tells the time twice: as the wall shows it, and as time that only ever
// passes. Comparing the two finds a wall clock that was changed.
type Clock interface {
	Wall() time.Time
	Elapsed() time.Duration
	After(d time.Duration) <-chan time.Time
}

// SystemClock is the computer's clock.
func SystemClock() Clock { return systemClock{start: time.Now()} }

type systemClock struct{ start time.Time }

func (c systemClock) Wall() time.Time        { return time.Now().Round(0) }
func (c systemClock) Elapsed() time.Duration { return time.Since(c.start) }

func (c systemClock) After(d time.Duration) <-chan time.Time { return time.After(d) }

// clockStep is the difference between wall and elapsed time from which on the
// wall clock counts as changed. Slewing by a time service stays far below.
const clockStep = 2 * time.Second

// unset is the date before which a wall clock was plainly never set: boards without a
// battery start in 1970.
var unset = time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)

// stamper gives one sensor's readings their times: strictly rising, whole
// milliseconds, UTC.
type stamper struct {
	clock    Clock
	anchored bool
	wall     time.Time     // the timeline at the anchor
	elapsed  time.Duration // elapsed time at the anchor
	last     time.Time
}

// timeline is what the time would be if the wall clock had not been changed since the
// anchor, and how far the wall clock is ahead of it.
func (s *stamper) timeline() (at, wall time.Time, elapsed, ahead time.Duration) {
	wall, elapsed = s.clock.Wall().UTC(), s.clock.Elapsed()
	if !s.anchored {
		return wall, wall, elapsed, 0
	}
	at = s.wall.Add(elapsed - s.elapsed)
	return at, wall, elapsed, wall.Sub(at)
}

// now is the time on the line's own timeline: the wall clock, or what goes on from
// before it was set back.
func (s *stamper) now() time.Time {
	at, wall, _, ahead := s.timeline()
	if ahead < -clockStep {
		return at
	}
	return wall
}

// stamp returns the time of a reading that arrived just now, and how far the wall
// clock was changed (0 if it was not). After a step forward the new wall time is used.
// After a step back the old timeline goes on, so that no reading is put before an
// earlier one, and flag marks it as long as the wall clock is behind: until it is set
// forward again or the program is started anew. Steps too small to be called so are
// followed at half the speed of time, so that readings are never squeezed together.
func (s *stamper) stamp() (at time.Time, flag dust.Flags, step time.Duration) {
	at, wall, elapsed, ahead := s.timeline()
	switch {
	case ahead < -clockStep:
		flag, step = dust.ClockStep, ahead
	case ahead > clockStep:
		flag, step = dust.ClockStep, ahead
		at = wall
	case ahead < 0 && s.anchored:
		at = later(wall, s.wall.Add((elapsed-s.elapsed)/2))
	default:
		at = wall
	}
	if step >= 0 {
		s.wall, s.elapsed, s.anchored = at, elapsed, true
	}
	if wall.Before(unset) {
		flag = dust.ClockStep
	}
	at = at.Truncate(time.Millisecond)
	if !at.After(s.last) {
		at = s.last.Add(time.Millisecond) // frames that a USB buffer delivers together
	}
	s.last = at
	return at, flag, step
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
