package sensor

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"dustlog/internal/dust"
)

// DefaultSilence is how long a Device waits for a frame with measurements.
const DefaultSilence = 10 * time.Second

// sample is one reading's worth of a frame.
type sample struct {
	values dust.Values
	flags  dust.Flags
}

// Device is a sensor on a port. Read and the commands are for one goroutine;
// Counts and Close may be called from any.
type Device struct {
	model Model
	spec  Spec
	port  io.ReadWriteCloser
	path  string

	now     func() time.Time
	silence time.Duration

	mu      sync.Mutex // guards dec
	dec     *stream
	emit    func(*Frame) // d.take, made once
	ready   []sample
	tap     Tap
	given   []dust.Flags      // flags of the readings since the tap was told
	changed bool              // they are not just those of their frames
	fed     bool              // the decoder has had bytes since the last flush
	asker   *asker            // nil: the sensor talks by itself
	want    func(*Frame) bool // set while a command waits for its answer
	got     bool              // the answer has come
	warm    time.Time         // values before this are flagged: the sensor was switched on
	closed  atomic.Bool
	ended   error     // the port's end, once what came before it is delivered
	heard   time.Time // when the last bytes came
	bytes   int64
	buf     [1024]byte

	ids       []string // specimens heard since IDs was asked
	sdsKnown  bool     // sdsID is known
	sdsID     [2]byte  // of the last SDS frame, to see a change cheaply
	recent    []byte   // the newest bytes, at least recentBytes once there were so many
	delivered int      // readings so far
	since     struct { // when the last of them came
		bytes, frames int64
	}
}

// Open opens the port at path for a sensor of model m. Errors wrap
// dust.ErrUnknownModel or one of the port errors of OpenPort.
func Open(path string, m Model) (*Device, error) {
	if _, err := m.info(); err != nil {
		return nil, err
	}
	if m.Spec().RawOnly {
		return nil, fmt.Errorf("%s on %s: sources disagree on the scale of its values, so it cannot be used for readings; its frames can be decoded", m, path)
	}
	p, err := OpenPort(path, m.Spec())
	if err != nil {
		return nil, err
	}
	d := NewDevice(m, p)
	d.path = path
	return d, nil
}

// NewDevice returns a sensor of model m, which must be one of Models, on a port
// that is open already. The port's reads must return within a quarter of a
// second, with an error whose Timeout method says true if nothing came.
func NewDevice(m Model, port io.ReadWriteCloser) *Device {
	d := &Device{
		model: m, spec: m.Spec(), port: port, path: "the port",
		now: time.Now, silence: DefaultSilence,
	}
	dec, err := newStream(m)
	if err != nil {
		d.ended = err
	}
	d.dec, d.emit = dec, d.take
	if d.spec.Polled {
		d.asker = newSPS30Asker(d.spec.Interval)
	}
	return d
}

// SetSilence changes how long Read waits for a frame with measurements before it
// gives up; the default is DefaultSilence.
func (d *Device) SetSilence(limit time.Duration) { d.silence = limit }

// Counts tells how the line did since the device was opened.
func (d *Device) Counts() Counts {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.dec == nil {
		return Counts{}
	}
	return d.dec.Counts()
}

// Close closes the port. A Read in progress returns soon, with os.ErrClosed. The
// sensor is left as it is: an SPS30 goes on measuring until put to sleep.
func (d *Device) Close() error {
	d.closed.Store(true)
	return d.port.Close()
}

// Read waits for the next frame with measurements. It returns ctx.Err() soon
// after ctx ends, an error wrapping dust.ErrSilent if no such frame came for
// DefaultSilence, dust.ErrPortLost if the device went away, and io.EOF at the end
// of a recording.
func (d *Device) Read(ctx context.Context) (dust.Values, dust.Flags, error) {
	began := d.now()
	for {
		if len(d.ready) > 0 { // also after ctx ended: what was received is not lost
			s := d.ready[0]
			d.ready = append(d.ready[:0], d.ready[1:]...)
			return s.values, s.flags, nil
		}
		if err := ctx.Err(); err != nil {
			return dust.Values{}, 0, err
		}
		if err := d.step(); err != nil {
			return dust.Values{}, 0, err
		}
		if len(d.ready) == 0 && d.now().Sub(began) >= d.silence {
			return dust.Values{}, 0, d.silentError()
		}
	}
}

// step asks if it is time to, then reads the port once.
func (d *Device) step() error {
	if d.asker != nil && d.ended == nil {
		if request := d.asker.due(d.now()); request != nil {
			if err := d.send(request); err != nil {
				return err
			}
			d.asker.asked(request, d.now())
		}
	}
	return d.receive()
}

// send writes a request. What the line still holds belongs to an older one and is
// dropped first.
func (d *Device) send(request []byte) error {
	d.mu.Lock()
	d.flush()
	d.mu.Unlock()
	if r, ok := d.port.(interface{ ResetInputBuffer() error }); ok && d.asker != nil {
		if err := r.ResetInputBuffer(); err != nil {
			return d.portError(err)
		}
	}
	if _, err := d.port.Write(request); err != nil {
		return d.portError(err)
	}
	return nil
}

// receive reads the port once.
func (d *Device) receive() error {
	if d.closed.Load() {
		return fmt.Errorf("%s on %s: %w", d.model, d.path, os.ErrClosed)
	}
	if d.ended != nil {
		return d.ended
	}
	n, err := d.port.Read(d.buf[:])
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.now()
	if n > 0 {
		d.bytes += int64(n)
		d.heard = now
		if d.asker != nil {
			d.asker.noteEcho(d.buf[:n])
		}
		d.keep(d.buf[:n])
		d.dec.Feed(d.buf[:n], d.emit)
		d.fed = true
		d.tell(d.buf[:n])
	}
	switch {
	case err == nil:
	case isTimeout(err):
		if d.spec.gap > 0 && now.Sub(d.heard) >= d.spec.gap {
			d.flush()
		}
	default:
		d.flush()
		d.ended = d.portError(err)
	}
	return nil
}

// portError says what the end of a port means: our own Close, the end of a
// recording, or a device that went away.
func (d *Device) portError(err error) error {
	switch {
	case d.closed.Load():
		return fmt.Errorf("%s on %s: %w", d.model, d.path, os.ErrClosed)
	case err == io.EOF, errors.Is(err, dust.ErrPortLost):
		return err
	}
	return fmt.Errorf("%s on %s: %w: %w", d.model, d.path, dust.ErrPortLost, err)
}

// take receives the decoder's frames.
func (d *Device) take(f *Frame) {
	flags, now := f.Flags, d.now()
	if a := d.asker; a != nil {
		a.answered(f, now)
		flags = a.refine(flags)
		if a.restarted && a.started {
			a.restarted, d.warm = false, now.Add(d.spec.WarmUp)
		}
	}
	if d.want != nil && d.want(f) {
		d.got = true
	}
	if s, ok := f.proto.(*sds); ok && s != nil {
		d.learnSDS(f.raw)
	}
	if f.IsData() {
		d.delivered++
		d.since.bytes, d.since.frames = d.bytes, d.dec.counts.Frames
		if now.Before(d.warm) {
			flags |= dust.WarmUp
		}
		d.ready = append(d.ready, sample{*f.Values(), flags})
		d.given, d.changed = append(d.given, flags), d.changed || flags != f.Flags
	}
}

// Tap is told what the decoder of a Device is given, as it happens: raw bytes
// that arrived, or nil where the line was silent for so long that an unfinished
// frame was given up. flags are those of the readings that came of it, if the
// Device knew more than their frames did, else nil. Both are valid during the
// call only.
type Tap func(raw []byte, flags []dust.Flags)

// SetTap sets the tap. It must be called before the first Read.
func (d *Device) SetTap(t Tap) { d.tap = t }

// flush gives an unfinished frame up; d.mu is held.
func (d *Device) flush() {
	d.dec.Flush(d.emit)
	if d.fed { // a second flush in a row changes nothing
		d.fed = false
		d.tell(nil)
	}
}

func (d *Device) tell(raw []byte) {
	if d.tap != nil {
		if d.changed {
			d.tap(raw, d.given)
		} else {
			d.tap(raw, nil)
		}
	}
	d.given, d.changed = d.given[:0], false
}
