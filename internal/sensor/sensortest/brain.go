package sensortest

import (
	"bytes"
	"encoding/binary"

	"dustlog/internal/sensor"
)

// brain is what a fake sensor does with requests and measurements.
type brain interface {
	// measured takes a new data frame and returns what to send by itself.
	measured(frame []byte) []byte
	// heard takes bytes from the host and returns the answers.
	heard(p []byte) []byte
	// requests lists the whole requests heard so far.
	requests() [][]byte
}

func newBrain(m sensor.Model) brain {
	switch m {
	case sensor.SPS30:
		return &sps30Brain{}
	case sensor.SDS011, sensor.SDS198:
		return &talker{head: []byte{0xAA, 0xB4}, size: 19, reply: sdsReply}
	case sensor.HPMA115S0, sensor.HPMA115C0:
		return &talker{head: []byte{0x68, 0x01}, size: 4, reply: hpmaReply}
	case sensor.ZH06:
		return &talker{head: []byte{0xFF, 0x01}, size: 9, reply: zhReply}
	case sensor.SNGCJA5, sensor.SenMLLine:
		return &talker{head: []byte("no requests"), size: 64, reply: nil} // no receive line
	default:
		return &talker{head: []byte{0x42, 0x4D}, size: 7, reply: pmsReply}
	}
}

// talker is a sensor that sends by itself and takes requests of one size.
type talker struct {
	head  []byte
	size  int
	reply func(t *talker, request []byte) []byte

	asleep, passive bool
	latest          []byte // last frame measured
	in              []byte
	log             [][]byte
}

func (t *talker) requests() [][]byte { return t.log }

func (t *talker) measured(frame []byte) []byte {
	t.latest = frame
	if t.asleep || t.passive {
		return nil
	}
	return frame
}

func (t *talker) heard(p []byte) []byte {
	t.in = append(t.in, p...)
	var out []byte
	for {
		start := bytes.Index(t.in, t.head)
		if start < 0 || len(t.in)-start < t.size {
			return out
		}
		request := bytes.Clone(t.in[start : start+t.size])
		t.in = t.in[start+t.size:]
		t.log = append(t.log, request)
		out = append(out, t.reply(t, request)...)
	}
}

// pmsReply: PMS5003 manual, appendix II; the acknowledgement from memory.
func pmsReply(t *talker, request []byte) []byte {
	cmd, data := request[2], request[4]
	switch cmd {
	case 0xE2:
		if t.asleep {
			return nil
		}
		return t.latest
	case 0xE1:
		t.passive = data == 0
	case 0xE4:
		if t.asleep = data == 0; !t.asleep {
			return nil // the first data frame is the answer
		}
	default:
		return nil
	}
	ack := []byte{0x42, 0x4D, 0, 4, cmd, data}
	var sum uint16
	for _, b := range ack {
		sum += uint16(b)
	}
	return binary.BigEndian.AppendUint16(ack, sum)
}

// sdsReply: Laser Dust Sensor Control Protocol V1.3.
func sdsReply(t *talker, request []byte) []byte {
	sub, set, value := request[2], request[3], request[4]
	if t.asleep && !(sub == 6 && set == 1 && value == 1) {
		return nil // asleep it takes only the work command
	}
	frame := []byte{0xAA, 0xC5, sub, set, value, 0, 0xA1, 0x60, 0, 0xAB}
	switch sub {
	case 2:
		if set == 1 {
			t.passive = value == 1
		} else if t.passive {
			frame[4] = 1
		}
	case 4:
		return t.latest
	case 6:
		if set == 1 {
			t.asleep = value == 0
		}
	case 7:
		frame[3], frame[4], frame[5] = 15, 7, 10
	case 8:
	default:
		return nil
	}
	for _, b := range frame[2:8] {
		frame[8] += b
	}
	return frame
}

// hpmaReply: HPM Series data sheet 32322550, table 4. A read is answered with the
// auto-send frame, which means the same.
func hpmaReply(t *talker, request []byte) []byte {
	switch request[2] {
	case 0x01:
		t.asleep = false
	case 0x02:
		t.asleep = true
	case 0x04:
		if t.asleep {
			return []byte{0x96, 0x96}
		}
		return t.latest
	case 0x10:
		return []byte{0x40, 0x02, 0x10, 0x64, 0x4A}
	case 0x20:
		t.passive = true
	case 0x40:
		t.passive = false
	default:
		return []byte{0x96, 0x96}
	}
	return []byte{0xA5, 0xA5}
}

// zhReply: ZH06 manual. A read is answered with the auto-upload frame.
func zhReply(t *talker, request []byte) []byte {
	switch request[2] {
	case 0x78:
		t.passive = request[3] == 0x41
	case 0x86:
		if !t.asleep {
			return t.latest
		}
	case 0xA7:
		t.asleep = request[3] == 1
		return []byte{0xFF, 0xA7, 1, 0, 0, 0, 0, 0, 0x58}
	}
	return nil
}
