package sensortest

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"sync"
)

// Op is one exchange: what the host writes, and what the sensor sends after it.
type Op struct {
	Write []byte // empty: the sensor talks by itself
	Read  []byte
}

// timeoutError says, as a serial port does, that nothing came in time.
type timeoutError struct{}

func (timeoutError) Error() string { return "nothing came in time" }
func (timeoutError) Timeout() bool { return true }

// ErrTimeout is what a read returns while the sensor waits for a request.
var ErrTimeout error = timeoutError{}

// Playback is a port that plays a recorded conversation. It is for one goroutine.
type Playback struct {
	Ops []Op
	// Chunk, if not 0, is the most that one read returns.
	Chunk int

	pending []byte // still to be read
	written []byte // part of the next Op's Write
	closed  bool
}

// Read implements io.Reader. It returns ErrTimeout while the host is expected to
// write and io.EOF at the end.
func (p *Playback) Read(b []byte) (int, error) {
	for len(p.pending) == 0 {
		if len(p.Ops) == 0 {
			return 0, io.EOF
		}
		if len(p.Ops[0].Write) > 0 {
			return 0, ErrTimeout
		}
		p.pending, p.Ops = p.Ops[0].Read, p.Ops[1:]
	}
	n := min(len(b), len(p.pending))
	if p.Chunk > 0 {
		n = min(n, p.Chunk)
	}
	copy(b, p.pending[:n])
	p.pending = p.pending[n:]
	return n, nil
}

// Write implements io.Writer. It fails if the conversation goes otherwise.
func (p *Playback) Write(b []byte) (int, error) {
	if len(p.pending) > 0 {
		return 0, fmt.Errorf("host writes %s while %s is still unread", hex.EncodeToString(b), hex.EncodeToString(p.pending))
	}
	if len(p.Ops) == 0 || len(p.Ops[0].Write) == 0 {
		return 0, fmt.Errorf("host writes %s, which the recording does not have", hex.EncodeToString(b))
	}
	p.written = append(p.written, b...)
	want := p.Ops[0].Write
	if !bytes.HasPrefix(want, p.written) {
		return 0, fmt.Errorf("host writes %s, the recording has %s", hex.EncodeToString(p.written), hex.EncodeToString(want))
	}
	if len(p.written) == len(want) {
		p.pending, p.written, p.Ops = p.Ops[0].Read, nil, p.Ops[1:]
	}
	return len(b), nil
}

// Close implements io.Closer. It fails if anything was left unread or unwritten.
func (p *Playback) Close() error {
	if p.closed {
		return nil
	}
	p.closed = true
	switch {
	case len(p.pending) > 0:
		return fmt.Errorf("%d bytes left unread: %s", len(p.pending), hex.EncodeToString(p.pending))
	case len(p.Ops) > 0:
		return fmt.Errorf("%d exchanges left, next: host writes %q, sensor sends %q",
			len(p.Ops), hex.EncodeToString(p.Ops[0].Write), hex.EncodeToString(p.Ops[0].Read))
	}
	return nil
}

// Record is a port that notes the conversation over another one.
type Record struct {
	Port io.ReadWriteCloser

	mu  sync.Mutex
	ops []Op
}

// Read implements io.Reader.
func (r *Record) Read(b []byte) (int, error) {
	n, err := r.Port.Read(b)
	if n > 0 {
		r.mu.Lock()
		defer r.mu.Unlock()
		if len(r.ops) == 0 {
			r.ops = append(r.ops, Op{})
		}
		last := &r.ops[len(r.ops)-1]
		last.Read = append(last.Read, b[:n]...)
	}
	return n, err
}

// Write implements io.Writer.
func (r *Record) Write(b []byte) (int, error) {
	n, err := r.Port.Write(b)
	if n > 0 {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.ops = append(r.ops, Op{Write: bytes.Clone(b[:n])})
	}
	return n, err
}

// Close implements io.Closer.
func (r *Record) Close() error { return r.Port.Close() }

// Ops returns what was said so far, ready for a Playback.
func (r *Record) Ops() []Op {
	r.mu.Lock()
	defer r.mu.Unlock()
	ops := make([]Op, len(r.ops))
	for i, op := range r.ops {
		ops[i] = Op{Write: bytes.Clone(op.Write), Read: bytes.Clone(op.Read)}
	}
	return ops
}
