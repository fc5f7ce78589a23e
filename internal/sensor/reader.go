package sensor

import (
	"fmt"
	"io"
)

// Reader reads frames from any source of bytes: a recording, a pipe, a socket.
type Reader struct {
	s       *stream
	src     io.Reader
	pending []byte
	end     error
	buf     [4096]byte
}

// emptyReads is how often in a row a source may give neither bytes nor an error
// before the Reader gives up (bufio does the same).
const emptyReads = 100

// NewReader returns a Reader of model m's frames. The error wraps
// dust.ErrUnknownModel.
func NewReader(m Model, r io.Reader) (*Reader, error) {
	s, err := newStream(m)
	if err != nil {
		return nil, err
	}
	return &Reader{s: s, src: r}, nil
}

// Next returns the next frame, valid until the next call. After the last one it
// returns io.EOF, or the error that ended the source.
func (r *Reader) Next() (*Frame, error) {
	for empty := 0; ; {
		rest, ok := r.s.next(r.pending, nil)
		r.pending = rest
		if ok {
			return &r.s.frame, nil
		}
		if r.end != nil {
			if r.s.flushNext() {
				return &r.s.frame, nil
			}
			return nil, r.end
		}
		n, err := r.src.Read(r.buf[:])
		r.pending = r.buf[:n]
		switch {
		case err == io.EOF:
			r.end = io.EOF
		case err != nil:
			r.end = fmt.Errorf("read %s frames: %w", r.s.frame.Model, err)
		case n > 0:
			empty = 0
		default:
			if empty++; empty == emptyReads {
				r.end = fmt.Errorf("read %s frames: %w", r.s.frame.Model, io.ErrNoProgress)
			}
		}
	}
}

// Counts tells how the line did so far.
func (r *Reader) Counts() Counts { return r.s.Counts() }
