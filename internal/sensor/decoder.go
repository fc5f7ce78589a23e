package sensor

import "dustlog/internal/dust"

// Decoder turns bytes into frames. It does no input or output, never allocates
// after it was made and never fails: what is wrong is counted.
type Decoder interface {
	// Feed takes the next bytes of the line and calls emit for every frame they
	// complete. The frame is valid only during the call.
	Feed(p []byte, emit func(*Frame))
	// Flush says that the line fell silent: an unfinished frame will not be
	// finished. Frames hidden behind it are emitted.
	Flush(emit func(*Frame))
	Counts() Counts
}

// NewDecoder returns a decoder for model m. The error wraps dust.ErrUnknownModel.
func NewDecoder(m Model) (Decoder, error) { return newStream(m) }

// action is what a protocol decides about the bytes it was shown.
type action uint8

const (
	accept action = iota // the first n bytes are a frame
	wait                 // cannot tell before there are n bytes; n = 0: any more
	refuse               // no frame: count the kind, drop n bytes
	skip                 // no frame and no error: drop n bytes
	pass                 // as skip, and the bytes had their purpose: not counted
)

// verdict is a protocol's judgement on a candidate. It has four fields because the
// compiler keeps no more than that in registers.
type verdict struct {
	act  action
	kind ErrorKind // why it is refused
	left leftover  // when waiting
	n    int
}

// leftover says what becomes of a candidate if the line falls silent.
type leftover uint8

const (
	idle  leftover = 1 << iota // what is there is no unfinished frame yet
	whole                      // all of it is lost at once, not byte by byte
)

// protocol knows the frames of one family of sensors. The sliding buffer, the
// rescan and the counting are the stream's.
type protocol interface {
	// starts tells which bytes may start a frame.
	starts() *[256]bool
	// probe judges the candidate at the start of p and, when it accepts it,
	// fills in f. The outcome depends on the bytes only, never on how many of
	// them happen to be there already.
	probe(p []byte, f *Frame) verdict
	// values converts f, the last frame accepted, which carries measurements.
	values(f *Frame, v *dust.Values)
	// fields yields the wire fields of f, the last frame accepted.
	fields(f *Frame, yield func(Field) bool)
}

// startSet returns the set of the given start bytes.
func startSet(bytes ...byte) *[256]bool {
	var set [256]bool
	for _, b := range bytes {
		set[b] = true
	}
	return &set
}

const (
	// bufferSize holds the longest candidate: a text line of 1024 bytes and its end.
	bufferSize = 1026
	// takeOpen is how much is buffered at a time when a delimiter ends the frame.
	takeOpen = 64
)

// stream is the Decoder of every protocol.
type stream struct {
	proto  protocol
	starts *[256]bool
	counts Counts
	frame  Frame

	// buf[lo:hi] is a candidate that comes in pieces; last is what the protocol
	// said of it, and need how many bytes are wanted before asking it again.
	lo, hi, need int
	last         verdict
	buf          [bufferSize]byte
}

func newStream(m Model) (*stream, error) {
	info, err := m.info()
	if err != nil {
		return nil, err
	}
	s := &stream{proto: info.protocol()}
	s.starts = s.proto.starts()
	s.frame.Model, s.frame.proto = m, s.proto
	return s, nil
}

// Counts implements Decoder.
func (s *stream) Counts() Counts { return s.counts }

// Feed implements Decoder.
func (s *stream) Feed(p []byte, emit func(*Frame)) {
	if s.lo < s.hi && s.hi-s.lo+len(p) < s.need && s.hi+len(p) <= len(s.buf) {
		s.hi += copy(s.buf[s.hi:], p) // still not enough of the candidate
		return
	}
	for {
		rest, ok := s.next(p, emit)
		if !ok {
			return
		}
		emit(&s.frame)
		p = rest
	}
}

// Flush implements Decoder.
func (s *stream) Flush(emit func(*Frame)) {
	for s.flushNext() {
		emit(&s.frame)
	}
}

// next consumes p up to the end of one frame (true), or all of it (false). Frames
// that lie in p as a whole go to emit on the way, if there is one.
func (s *stream) next(p []byte, emit func(*Frame)) (rest []byte, ok bool) {
	for s.lo < s.hi {
		if s.hi-s.lo < s.need {
			if p = s.take(p); s.hi-s.lo < s.need {
				return nil, false
			}
		}
		if s.judge() {
			return p, true
		}
	}
	return s.scan(p, emit)
}

// scan looks for frames in p itself. An unfinished candidate is kept.
func (s *stream) scan(p []byte, emit func(*Frame)) (rest []byte, ok bool) {
	starts, proto := s.starts, s.proto
	for len(p) > 0 {
		if !starts[p[0]] {
			s.counts.BytesSkipped++
			p = p[1:]
			continue
		}
		v := proto.probe(p, &s.frame)
		switch v.act {
		case accept:
			s.accepted()
			p = p[v.n:]
			if emit == nil {
				return p, true
			}
			emit(&s.frame)
		case wait:
			s.lo, s.hi = 0, copy(s.buf[:], p)
			s.wait(v)
			return nil, false
		default:
			s.drop(v)
			p = p[v.n:]
		}
	}
	return nil, false
}

// judge asks the protocol about the buffered bytes, once. True means a frame.
func (s *stream) judge() bool {
	if !s.starts[s.buf[s.lo]] {
		s.counts.BytesSkipped++
		s.lo++
		return false
	}
	v := s.proto.probe(s.buf[s.lo:s.hi], &s.frame)
	switch v.act {
	case accept:
		s.accepted()
		s.lo += v.n
		s.need = 0
		return true
	case wait:
		s.wait(v)
	default:
		s.drop(v)
		s.lo += v.n
		s.need = 0
	}
	return false
}

// take adds bytes of p to the buffered candidate: as many as it needs, so that
// what follows can be judged in place.
func (s *stream) take(p []byte) []byte {
	if s.lo > 0 {
		s.hi = copy(s.buf[:], s.buf[s.lo:s.hi])
		s.lo = 0
	}
	want := s.need - s.hi
	if s.last.n == 0 {
		want = takeOpen
	}
	n := copy(s.buf[s.hi:], p[:min(want, len(p))])
	s.hi += n
	return p[n:]
}

// flushNext gives up on what is unfinished until a frame appears (true) or
// nothing is left.
func (s *stream) flushNext() bool {
	for s.lo < s.hi {
		if s.hi-s.lo >= s.need {
			if s.judge() {
				return true
			}
			continue
		}
		lost := verdict{act: refuse, kind: Truncated, n: 1}
		if s.last.left&idle != 0 {
			lost.act = pass
		}
		if s.last.left&whole != 0 {
			lost.n = s.hi - s.lo
		}
		s.drop(lost)
		s.lo += lost.n
		s.need = 0
	}
	s.lo, s.hi = 0, 0
	return false
}

func (s *stream) accepted() {
	s.counts.Frames++
	if s.frame.data {
		s.counts.DataFrames++
	}
}

func (s *stream) wait(v verdict) {
	s.last, s.need = v, v.n
	if v.n == 0 {
		s.need = s.hi - s.lo + 1
	}
}

func (s *stream) drop(v verdict) {
	if v.act == refuse {
		s.counts.add(v.kind)
	}
	if v.act != pass {
		s.counts.BytesSkipped += int64(v.n)
	}
}
