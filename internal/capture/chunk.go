package capture

import (
	"time"

	"dustlog/internal/dust"
)

// What happened on the line.
const (
	Open  = "open"  // the port was opened
	Bytes = "bytes" // bytes arrived
	Pause = "pause" // silence long enough to give up an unfinished frame
	Lost  = "lost"  // the line went away, or fell silent for good
	Event = "event" // something worth an event in the store, at the moment of a neighbour
)

// Chunk is one thing that happened on the line, and when.
type Chunk struct {
	Wall    time.Time
	Elapsed time.Duration
	What    string
	Bytes   []byte // valid until the next chunk
	Text    string // why the line was lost, or what happened
	Kind    string // of an event
	Silent  bool   // it was lost by silence
	Dropped bool   // readings in it were not used
	// Flags are those of the readings that came of it, where the driver knew more
	// than their frames told; nil where it did not.
	Flags []dust.Flags
}

// Clock is where moments come from: the same pair that collect stamps by.
type Clock interface {
	Wall() time.Time
	Elapsed() time.Duration
	After(d time.Duration) <-chan time.Time
}

// Arrivals is a clock that stands still between events: it shows the moment at
// which the line last did something. Readings stamped by it carry the arrival
// of their last byte, and a capture that is played shows the same moments.
type Arrivals struct {
	clock   Clock
	wall    time.Time
	elapsed time.Duration
}

// NewArrivals returns a clock that shows the present moment until the next Mark.
func NewArrivals(clock Clock) *Arrivals {
	a := &Arrivals{clock: clock}
	a.Mark()
	return a
}

// Mark moves the clock to now.
func (a *Arrivals) Mark() { a.wall, a.elapsed = a.clock.Wall().UTC(), a.clock.Elapsed() }

// Wall is the wall clock at the last Mark.
func (a *Arrivals) Wall() time.Time { return a.wall }

// Elapsed is the elapsed time at the last Mark.
func (a *Arrivals) Elapsed() time.Duration { return a.elapsed }

// After waits in real time.
func (a *Arrivals) After(d time.Duration) <-chan time.Time { return a.clock.After(d) }
