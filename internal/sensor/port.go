package sensor

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"go.bug.st/serial"

	"dustlog/internal/dust"
)

// pollTime is how long one read of the port may wait. It bounds how late a
// cancelled context is noticed.
const pollTime = 50 * time.Millisecond

// timeoutError is what a read returns when nothing came in time.
type timeoutError struct{}

func (timeoutError) Error() string { return "nothing came in time" }
func (timeoutError) Timeout() bool { return true }

var errTimeout error = timeoutError{}

// isTimeout reports whether err says that nothing came in time.
func isTimeout(err error) bool {
	var t interface{ Timeout() bool }
	return errors.As(err, &t) && t.Timeout()
}

// openFunc is serial.Open; tests stand in for it where a fault cannot be had.
type openFunc func(path string, mode *serial.Mode) (serial.Port, error)

// OpenPort opens the serial port at path with the model's settings. A read that
// gets nothing for a while returns an error whose Timeout method says true, never
// 0 bytes and no error. Errors wrap dust.ErrPortMissing, ErrPortBusy or
// ErrPortRefused; when the device goes away later, dust.ErrPortLost.
func OpenPort(path string, spec Spec) (io.ReadWriteCloser, error) {
	return openPort(path, spec, serial.Open)
}

func openPort(path string, spec Spec, open openFunc) (*port, error) {
	mode := &serial.Mode{BaudRate: spec.Baud, DataBits: 8, StopBits: serial.OneStopBit}
	if spec.Parity == ParityEven {
		mode.Parity = serial.EvenParity
	}
	if spec.LinesLow {
		mode.InitialStatusBits = &serial.ModemOutputBits{}
	}
	p, err := open(path, mode)
	if hasCode(err, serial.InvalidSerialPort) && mode.InitialStatusBits != nil {
		mode.InitialStatusBits = nil // a port without these lines, as a pseudo-terminal is
		p, err = open(path, mode)
	}
	if err != nil {
		return nil, openError(path, err)
	}
	if err := p.SetReadTimeout(pollTime); err != nil {
		p.Close()
		return nil, fmt.Errorf("port %s: set read timeout: %w: %w", path, dust.ErrPortRefused, err)
	}
	return &port{serial: p, path: path}, nil
}

// openError tells the three ways of not getting a port apart. The library gives
// a missing port as a plain system error, the others as its own.
func openError(path string, err error) error {
	reason, advice := dust.ErrPortRefused, "check that it is a serial port"
	switch {
	case errors.Is(err, fs.ErrNotExist), hasCode(err, serial.PortNotFound):
		reason, advice = dust.ErrPortMissing, "plug the sensor in, or list the ports with another name"
	case hasCode(err, serial.PortBusy):
		reason, advice = dust.ErrPortBusy, "close the program that uses it, or wait until it has ended"
	case errors.Is(err, fs.ErrPermission), hasCode(err, serial.PermissionDenied):
		advice = "you may not use it: on Linux add your user to the group that owns it (often dialout) and log in again"
	}
	return fmt.Errorf("port %s: %w: %w: %s", path, reason, err, advice)
}

func hasCode(err error, want serial.PortErrorCode) bool {
	var code interface{ Code() serial.PortErrorCode } // *serial.PortError
	return errors.As(err, &code) && code.Code() == want
}

// port is a serial port whose reads fail when they should.
type port struct {
	serial  serial.Port
	path    string
	reading sync.Mutex // held while the port is read, so that Close cannot pull it away
	closed  atomic.Bool
}

// Read implements io.Reader. It waits for at most pollTime.
func (p *port) Read(b []byte) (int, error) {
	p.reading.Lock()
	defer p.reading.Unlock()
	if p.closed.Load() {
		return 0, fmt.Errorf("read port %s: %w", p.path, os.ErrClosed)
	}
	n, err := p.serial.Read(b)
	switch {
	case err != nil:
		return n, p.lost("read", err)
	case n == 0:
		return 0, errTimeout
	}
	return n, nil
}

// Write implements io.Writer.
func (p *port) Write(b []byte) (int, error) {
	if p.closed.Load() {
		return 0, fmt.Errorf("write port %s: %w", p.path, os.ErrClosed)
	}
	n, err := p.serial.Write(b)
	if err != nil {
		return n, p.lost("write", err)
	}
	return n, nil
}

func (p *port) lost(what string, err error) error {
	return fmt.Errorf("%s port %s: %w: %w: plug the sensor in again", what, p.path, dust.ErrPortLost, err)
}

// ResetInputBuffer drops what has arrived but was not read.
func (p *port) ResetInputBuffer() error { return p.serial.ResetInputBuffer() }

// Close implements io.Closer. A read in progress ends within pollTime.
func (p *port) Close() error {
	if p.closed.Swap(true) {
		return nil
	}
	p.reading.Lock()
	defer p.reading.Unlock()
	return p.serial.Close()
}
