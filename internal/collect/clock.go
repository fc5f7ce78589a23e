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

// stamper gives one sensor's readings their times: strictly rising, whole
// milliseconds, UTC.
type stamper struct {
	clock    Clock
	anchored bool
	wall     time.Time     // wall time at the anchor
	elapsed  time.Duration // elapsed time at the anchor
	last     time.Time
}

// stamp returns the time of a reading that arrived just now, and the size of a
// step of the wall clock (0 if there was none). After a step forward the new
// wall time is used; after a step back the old timeline goes on, so that no
// reading is put before an earlier one, and flag marks it until the wall clock
// has caught up.
func (s *stamper) stamp() (at time.Time, flag dust.Flags, step time.Duration) {
	wall, elapsed := s.clock.Wall().UTC(), s.clock.Elapsed()
	if !s.anchored {
		s.wall, s.elapsed, s.anchored = wall, elapsed, true
	}
	at = s.wall.Add(elapsed - s.elapsed)
	switch drift := wall.Sub(at); {
	case drift > clockStep:
		step, flag = drift, dust.ClockStep
		s.wall, s.elapsed, at = wall, elapsed, wall
	case drift < -clockStep:
		flag = dust.ClockStep
		step = drift
	default:
		// Follow small corrections, so that the timeline does not drift off.
		s.wall, s.elapsed, at = wall, elapsed, wall
	}
	at = at.Truncate(time.Millisecond)
	if !at.After(s.last) {
		at = s.last.Add(time.Millisecond) // frames that a USB buffer delivers together
	}
	s.last = at
	return at, flag, step
}
