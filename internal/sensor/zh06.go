package sensor

import (
	"time"

	"dustlog/internal/dust"
)

// The ZH06 (maker's manual): 32-byte frames 42 4D 00 1C sent by itself, 9-byte
// frames FF … with the values in another order when asked.
//
// Errata and oddities:
//   - The manual's table says that the checksum sums "22 bytes"; its worked
//     example sums the first 30, which is right.
//   - Bytes 4-9 are reserved; the example repeats the values there.
const (
	zhStart       = 0xFF
	zhRead        = 0x86
	zhDormant     = 0xA7
	zhReplyLength = 9
	zhTop         = 1000 // stated for its PWM pin only
	zhAutoAt      = 10
)

type zh06 struct{}

var (
	zhStarts      = startSet(pmsStart1, zhStart)
	zhAutoOrder   = [3]dust.Channel{dust.PM1, dust.PM25, dust.PM10}
	zhAutoNames   = [3]string{"pm1_0", "pm2_5", "pm10"}
	zhAnswerOrder = [3]dust.Channel{dust.PM25, dust.PM10, dust.PM1}
	zhAnswerNames = [3]string{"pm2_5", "pm10", "pm1_0"}
)

func (zh06) starts() *[256]bool { return zhStarts }

// probe implements protocol. The check of the short frame makes the sum of its
// bytes after the first zero.
func (zh06) probe(p []byte, f *Frame) verdict {
	if p[0] == pmsStart1 {
		v := probeAuto(p)
		if v.act == accept {
			f.set(KindData, true, p[:v.n])
			zhFlag(p[zhAutoAt:], &zhAutoOrder, f)
		}
		return v
	}
	if len(p) < 2 {
		return verdict{act: wait, n: 2}
	}
	if p[1] != zhRead && p[1] != zhDormant {
		return verdict{act: skip, n: 1}
	}
	if len(p) < zhReplyLength {
		return verdict{act: wait, n: zhReplyLength}
	}
	if sum8(p[1:zhReplyLength]) != 0 {
		return verdict{act: refuse, kind: BadChecksum, n: 1}
	}
	if p[1] == zhDormant {
		f.set("dormant_reply", false, p[:zhReplyLength])
	} else {
		f.set(KindData, true, p[:zhReplyLength])
		zhFlag(p[2:], &zhAnswerOrder, f)
	}
	return verdict{act: accept, n: zhReplyLength}
}

func zhFlag(words []byte, order *[3]dust.Channel, f *Frame) {
	for i, c := range order {
		if be16(words, 2*i) >= zhTop {
			f.Flags |= dust.SaturatedIn(c)
		}
	}
}

// values implements protocol.
func (zh06) values(f *Frame, v *dust.Values) {
	words, order := f.raw[2:], &zhAnswerOrder
	if f.raw[0] == pmsStart1 {
		words, order = f.raw[zhAutoAt:], &zhAutoOrder
	}
	for i, c := range order {
		v.Set(c, word(words, 2*i))
	}
}

// fields implements protocol.
func (zh06) fields(f *Frame, yield func(Field) bool) {
	if !f.data {
		yield(Field{Name: "ok", Value: float64(f.raw[2])})
		return
	}
	values, names := f.raw[2:], &zhAnswerNames
	if f.raw[0] == pmsStart1 {
		values, names = f.raw[zhAutoAt:], &zhAutoNames
	}
	for i, name := range names {
		if !yield(Field{Name: name, Value: word(values, 2*i), Unit: "ug/m3"}) {
			return
		}
	}
}

func zhEncode(dst []byte, v *dust.Values) ([]byte, error) {
	w := wireWriter{v: v}
	for _, c := range zhAutoOrder {
		w.u16(c, 1)
	}
	var payload [26]byte
	copy(payload[0:], w.dst) // as the manual's example does
	copy(payload[zhAutoAt-4:], w.dst)
	w.dst = appendAuto(dst, payload)
	return w.done(dst, ZH06)
}

// zhCommands: manual, section on the serial protocol. Commands FF 01 8x other
// than 86 calibrate sister products and must never be sent on a guess.
func zhCommands() []command {
	request := func(name string, cmd, data byte) command {
		b := []byte{zhStart, 1, cmd, data, 0, 0, 0, 0}
		return command{name, append(b, -sum8(b[1:]))}
	}
	return []command{
		request("read", zhRead, 0), // in question-and-answer mode
		request("passive", 0x78, 0x41),
		request("active", 0x78, 0x40),
		request("sleep", zhDormant, 1),
		request("wake", zhDormant, 0),
	}
}

// zh06Model: 9600 8N1, T90 below 45 s (manual); 1 s between frames from memory.
func zh06Model() modelInfo {
	return modelInfo{
		spec: Spec{
			Model: ZH06, Title: "ZH06", Baud: 9600, WarmUp: 45 * time.Second,
			Interval: time.Second, gap: slowGap,
			Range:        map[dust.Channel]float64{dust.PM1: zhTop, dust.PM25: zhTop, dust.PM10: zhTop},
			Extrapolated: []dust.Channel{dust.PM10},
			Sees:         "from 0.3 µm claimed; no independent test of what it sees is known",
		},
		protocol: func() protocol { return zh06{} },
		encode:   zhEncode,
		commands: zhCommands(),
	}
}
