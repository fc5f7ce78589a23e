package sensor

import (
	"io"
	"time"

	"go.bug.st/serial"
)

// SetClock replaces the device's clock.
func (d *Device) SetClock(now func() time.Time) { d.now = now }

// SetInterval replaces the time between two requests to a polled sensor.
func (d *Device) SetInterval(interval time.Duration) {
	if d.asker != nil {
		d.asker.interval = interval
	}
}

// OpenPortWith is OpenPort with another way of opening.
func OpenPortWith(path string, spec Spec, open func(string, *serial.Mode) (serial.Port, error)) (io.ReadWriteCloser, error) {
	return openPort(path, spec, open)
}

// SetClock replaces the listener's clock.
func (l *Listener) SetClock(now func() time.Time) { l.now = now }
