package sensortest

import (
	"bytes"
)

// sps30Brain answers SHDLC requests (SPS30 data sheet 1.0 D1, section 5). Its
// stuffing is written apart from the driver's, so that one checks the other.
type sps30Brain struct {
	measuring, asleep bool
	fresh             []byte // data frame not fetched yet
	in                []byte
	log               [][]byte
}

func (s *sps30Brain) requests() [][]byte { return s.log }

func (s *sps30Brain) measured(frame []byte) []byte {
	s.fresh = frame
	return nil
}

func (s *sps30Brain) heard(p []byte) []byte {
	s.in = append(s.in, p...)
	var out []byte
	for {
		start := bytes.IndexByte(s.in, 0x7E)
		if start < 0 {
			s.in = nil
			return out
		}
		end := bytes.IndexByte(s.in[start+1:], 0x7E)
		if end < 0 {
			s.in = s.in[start:]
			return out
		}
		piece := s.in[start+1 : start+1+end]
		s.in = s.in[start+1+end:]
		if len(piece) == 0 {
			continue
		}
		s.log = append(s.log, bytes.Clone(piece))
		s.in = s.in[1:]
		out = append(out, s.reply(unstuff(piece))...)
	}
}

// Answers that a real sensor gives: 0 done, 1 wrong length, 2 unknown command,
// 0x43 not allowed in this state.
func (s *sps30Brain) reply(request []byte) []byte {
	if len(request) < 4 || int(request[2]) != len(request)-4 {
		return nil
	}
	cmd, data := request[1], request[3:len(request)-1]
	if s.asleep && cmd != 0x11 {
		return nil
	}
	refused := answer(cmd, 0x43)
	switch cmd {
	case 0x00: // start
		if s.measuring {
			return refused
		}
		s.measuring = true
	case 0x01: // stop
		s.measuring = false
	case 0x03: // read values
		if !s.measuring {
			return refused
		}
		if frame := s.fresh; frame != nil {
			s.fresh = nil
			return frame
		}
	case 0x10: // sleep
		if s.measuring {
			return refused
		}
		s.asleep = true
	case 0x11: // wake
		s.asleep = false
	case 0x56: // clean
		if !s.measuring {
			return refused
		}
	case 0x80:
		return answer(cmd, 0, 0x00, 0x09, 0x3A, 0x80) // 604800 s, a week
	case 0xD0:
		text := "00080000"
		if len(data) == 1 && data[0] == 3 {
			text = "00000000000000000000"
		}
		return answer(cmd, 0, append([]byte(text), 0)...)
	case 0xD1:
		return answer(cmd, 0, 2, 2, 0, 7, 0, 2, 0)
	case 0xD2:
		return answer(cmd, 0, 0, 0, 0, 0, 0)
	case 0xD3: // reset
		s.measuring = false
	default:
		return answer(cmd, 2)
	}
	return answer(cmd, 0)
}

// answer frames a response.
func answer(cmd, state byte, data ...byte) []byte {
	body := append([]byte{0, cmd, state, byte(len(data))}, data...)
	check := byte(0)
	for _, b := range body {
		check += b
	}
	stuffed := bytes.NewBuffer([]byte{0x7E})
	for _, b := range append(body, 0xFF-check) {
		if i := bytes.IndexByte(special, b); i >= 0 {
			stuffed.Write([]byte{0x7D, stand[i]})
		} else {
			stuffed.WriteByte(b)
		}
	}
	stuffed.WriteByte(0x7E)
	return stuffed.Bytes()
}

// Stuffing, data sheet table 5: a special byte becomes 7D and its stand-in.
var (
	special = []byte{0x7E, 0x7D, 0x11, 0x13}
	stand   = []byte{0x5E, 0x5D, 0x31, 0x33}
)

func unstuff(piece []byte) []byte {
	var out []byte
	for i := 0; i < len(piece); i++ {
		b := piece[i]
		if b == 0x7D && i+1 < len(piece) {
			i++
			if k := bytes.IndexByte(stand, piece[i]); k >= 0 {
				b = special[k]
			}
		}
		out = append(out, b)
	}
	return out
}
