package sensor

import (
	"context"
	"fmt"
	"io"
	"time"

	"go.bug.st/serial"
)

// Found is what was heard on a port.
type Found struct {
	Guesses []Guess // best first; none if nothing was recognised
	Line    Line    // on which they were heard, or the last one tried
	Bytes   int     // heard on all lines together
	Asked   bool    // the sensor spoke only when asked
}

// listenStep is one way of listening.
type listenStep struct {
	line Line
	wait time.Duration
	ask  []byte // sent first, and again after half the time
}

// listenSteps go from the most to the least common line: 6 s are two of a PMS5003's
// longest intervals, the others send every second.
var listenSteps = []listenStep{
	{line: Line{9600, ParityNone}, wait: 6 * time.Second},
	{line: Line{9600, ParityEven}, wait: 3 * time.Second},
	{line: Line{115200, ParityNone}, wait: 3 * time.Second},
}

// askSteps are requests that change nothing in any sensor known here: product type,
// read, reporting mode, read. FF 01 requests are not among them: on sister products
// some of them calibrate.
var askSteps = func() []listenStep {
	step := func(m Model, request string, wait time.Duration) listenStep {
		ask, err := Command(m, request)
		if err != nil {
			panic(err) // a name in this table is wrong
		}
		return listenStep{m.Spec().Settings(), wait, ask}
	}
	return []listenStep{
		step(SPS30, "product_type", 400*time.Millisecond),
		step(HPMA115S0, "read", 2*time.Second),
		step(SDS011, "mode", 2*time.Second),
		step(PMS5003, "read", 2*time.Second),
	}
}()

// ListenTime is the longest that Listen takes.
func ListenTime(ask bool) (total time.Duration) {
	steps := listenSteps
	if ask {
		steps = append(steps[:len(steps):len(steps)], askSteps...)
	}
	for _, s := range steps {
		total += s.wait
	}
	return total
}

// Listener finds out which sensor is on a port. The zero Listener only listens.
type Listener struct {
	Ask bool // also send requests that change nothing, if nothing speaks by itself
	// Progress, if set, is told what comes next.
	Progress func(what string)

	now  func() time.Time
	open func(path string, line Line) (io.ReadWriteCloser, error)
}

// Listen opens the port at path with one setting after the other until two valid
// frames were heard. It returns the errors of OpenPort, or ctx.Err().
func (l Listener) Listen(ctx context.Context, path string) (Found, error) {
	if l.now == nil {
		l.now = time.Now
	}
	if l.open == nil {
		l.open = openQuietly
	}
	var found Found
	steps := listenSteps
	if l.Ask {
		steps = append(steps[:len(steps):len(steps)], askSteps...)
	}
	for _, step := range steps {
		if l.Progress != nil {
			l.Progress(step.describe())
		}
		heard, err := l.hear(ctx, path, step)
		found.Line, found.Bytes = step.line, found.Bytes+len(heard)
		if err != nil {
			return found, err
		}
		if found.Guesses = Identify(heard, step.line); len(found.Guesses) > 0 {
			found.Asked = step.ask != nil
			return found, nil
		}
	}
	return found, nil
}

func (s listenStep) describe() string {
	if s.ask != nil {
		return fmt.Sprintf("asking at %s", s.line)
	}
	return fmt.Sprintf("listening at %s", s.line)
}

// openQuietly opens a port with DTR and RTS low, so that boards which take them for a
// reset are not restarted more often than opening alone does.
func openQuietly(path string, line Line) (io.ReadWriteCloser, error) {
	return openPort(path, Spec{Baud: line.Baud, Parity: line.Parity, LinesLow: true}, serial.Open)
}

const (
	// surelyFrames is how many frames make it pointless to listen on where several
	// models share a form.
	surelyFrames = 4
	// heardAtMost bounds what is kept of a line that floods.
	heardAtMost = 16 << 10
)

// hear reads the port for a step's time, or until it is clear who speaks.
func (l Listener) hear(ctx context.Context, path string, step listenStep) (heard []byte, err error) {
	port, err := l.open(path, step.line)
	if err != nil {
		return nil, err
	}
	defer port.Close()
	began, asked, quiet := l.now(), 0, false
	buf := make([]byte, 1024)
	for l.now().Sub(began) < step.wait && len(heard) < heardAtMost {
		if err := ctx.Err(); err != nil {
			return heard, err
		}
		// A second answer proves the first.
		if step.ask != nil && asked < enoughFrames && (quiet && len(heard) > 0 || l.now().Sub(began) >= time.Duration(asked)*step.wait/enoughFrames) {
			asked++
			if _, err := port.Write(step.ask); err != nil {
				return heard, err
			}
		}
		n, err := port.Read(buf)
		heard = append(heard, buf[:n]...)
		if err != nil && !isTimeout(err) {
			return heard, err
		}
		if quiet = n == 0; quiet {
			continue
		}
		if g := Identify(heard, step.line); len(g) > 0 && (g[0].Certainty == Certain || g[0].Frames >= surelyFrames) {
			return heard, nil
		}
	}
	return heard, nil
}
