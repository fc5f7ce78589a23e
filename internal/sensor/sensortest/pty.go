package sensortest

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// PTY is a sensor behind a pseudo-terminal: its Path opens like a serial port. It
// answers the requests of its model. On systems without pseudo-terminals NewPTY
// returns an error.
type PTY struct {
	model  sensor.Model
	master *os.File
	slave  *os.File // kept open, so that the line does not hang up between users
	path   string
	done   chan struct{}

	mu      sync.Mutex
	brain   brain
	closing bool
}

// NewPTY returns a sensor of model m that is on, and silent until told to send.
func NewPTY(m sensor.Model) (*PTY, error) {
	if m.Spec().Model == "" {
		return nil, fmt.Errorf("fake sensor: %w %q", dust.ErrUnknownModel, m)
	}
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("fake sensor: open pseudo-terminal: %w", err)
	}
	if master, err = pollable(master); err != nil {
		return nil, errors.Join(fmt.Errorf("fake sensor: %w", err), master.Close(), slave.Close())
	}
	// Without raw mode the terminal would echo and translate until a port is opened.
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		return nil, errors.Join(fmt.Errorf("fake sensor: %w", err), master.Close(), slave.Close())
	}
	p := &PTY{model: m, master: master, slave: slave, path: slave.Name(), done: make(chan struct{}), brain: newBrain(m)}
	go p.answer()
	return p, nil
}

// Path is the name to open as a serial port.
func (p *PTY) Path() string { return p.path }

// Send makes the sensor measure v. A sensor that talks by itself sends it at
// once, unless it was put to sleep or into passive mode; others send it with the
// next answer.
func (p *PTY) Send(v dust.Values) error {
	frame, err := sensor.AppendFrame(nil, p.model, v)
	if err != nil {
		return err
	}
	p.mu.Lock()
	out := p.brain.measured(frame)
	p.mu.Unlock()
	return p.SendRaw(out)
}

// sendTime is how long the line may be full before bytes are given up, as a real
// line would lose them when nobody reads.
const sendTime = 200 * time.Millisecond

// SendRaw sends bytes as they are. The error wraps os.ErrDeadlineExceeded if the
// line is full because nobody reads it.
func (p *PTY) SendRaw(b []byte) error {
	if len(b) == 0 {
		return nil
	}
	if err := p.master.SetWriteDeadline(time.Now().Add(sendTime)); err != nil {
		return fmt.Errorf("fake %s: %w", p.model, err)
	}
	if _, err := p.master.Write(b); err != nil {
		return fmt.Errorf("fake %s: %w", p.model, err)
	}
	return nil
}

// Hear lets the sensor hear a request as if the host had sent it, and keeps its
// answer back: it puts a fake into the state a test wants.
func (p *PTY) Hear(request []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.brain.heard(request)
}

// Requests returns what the host has sent, request by request.
func (p *PTY) Requests() [][]byte {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([][]byte(nil), p.brain.requests()...)
}

// answer is the sensor's own life: it reads requests and answers them.
func (p *PTY) answer() {
	defer close(p.done)
	buf := make([]byte, 256)
	for {
		n, err := p.master.Read(buf)
		if err != nil {
			return
		}
		p.mu.Lock()
		out := p.brain.heard(buf[:n])
		p.mu.Unlock()
		if err := p.SendRaw(out); err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return
		}
	}
}

// Unplug takes the device away under its user.
func (p *PTY) Unplug() error { return p.Close() }

// Close ends the sensor.
func (p *PTY) Close() error {
	p.mu.Lock()
	if p.closing {
		p.mu.Unlock()
		return nil
	}
	p.closing = true
	p.mu.Unlock()
	err := errors.Join(p.master.Close(), p.slave.Close())
	<-p.done
	return err
}
