package forward

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// fault is a reading that the target refused, and what it said.
type fault struct {
	reading *dust.Reading
	text    string
}

// send sends readings. If the target refuses them, it halves them until the bad
// ones stand alone, so that one bad reading costs no good neighbour. It returns
// those refused, or an error if the rest could not be sent either.
func (f *forwarder) send(ctx context.Context, readings []dust.Reading) ([]fault, error) {
	if len(readings) == 0 {
		return nil, nil
	}
	err := f.insist(ctx, func() error { return f.target.Write(ctx, readings) })
	if !refused(err) {
		return nil, err
	}
	var r Refusal
	if errors.As(err, &r); len(readings) == 1 || r.Dropped() == len(readings) {
		return blame(readings, err), nil
	}
	half := len(readings) / 2
	first, err := f.send(ctx, readings[:half])
	if err != nil {
		return nil, err
	}
	second, err := f.send(ctx, readings[half:])
	return append(first, second...), err
}

func blame(readings []dust.Reading, err error) []fault {
	faults := make([]fault, len(readings))
	for i := range readings {
		faults[i] = fault{&readings[i], err.Error()}
	}
	return faults
}

// tell keeps refused readings as events, one per sensor and reason, and counts
// them in done.
func (f *forwarder) tell(ctx context.Context, faults []fault, done []Done) error {
	type group struct {
		n           int64
		first, last time.Time
		text        string
	}
	groups := map[string]*group{}
	var order []string
	for _, x := range faults {
		name := x.reading.Sensor
		g := groups[name]
		if g == nil {
			g = &group{first: x.reading.Time, text: x.text}
			groups[name] = g
			order = append(order, name)
		}
		g.n++
		g.last = x.reading.Time
	}
	for _, name := range order {
		g := groups[name]
		f.sum.Refused += g.n
		text := fmt.Sprintf("%s refused %d reading(s) from %s to %s: %s", f.name, g.n,
			g.first.Format(time.RFC3339), g.last.Format(time.RFC3339), g.text)
		f.o.Log.Error("readings refused", "sensor", name, "readings", g.n, "error", g.text)
		if err := f.event(ctx, name, text); err != nil {
			return err
		}
		for i := range done {
			if done[i].Range.Sensor == name {
				done[i].Refused = g.n
				break
			}
		}
	}
	return nil
}

func (f *forwarder) event(ctx context.Context, sensor, text string) error {
	return f.box.AddEvent(ctx, dust.Event{Time: f.o.Now().UTC(), Sensor: sensor, Kind: "forward_refused", Text: text})
}
