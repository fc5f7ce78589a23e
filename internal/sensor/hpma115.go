package sensor

import (
	"encoding/binary"
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// The HPMA115S0 and HPMA115C0 ("HPM Series" data sheet 32322550, pages 4-6,
// tables 4 and 6). They send 32-byte frames 42 4D 00 1C by themselves and answer
// requests with 40 LEN CMD data CS, where CS makes the sum of all bytes zero.
//
// Errata and oddities:
//   - The C0 answer is printed with length 05 in the table, 0D in the example;
//     0D fits the checksum.
//   - Reserved bytes of the auto-send frame need not be zero: a published capture
//     has 51 at byte 28.
//   - The field order of the C0's auto-send frame is from memory, as is that
//     auto-send is the power-on default.
const (
	hpmaReply   = 0x40
	hpmaAck     = 0xA5
	hpmaNak     = 0x96
	hpmaRequest = 0x68

	hpmaRead        = 0x04
	hpmaCoefficient = 0x10

	autoLength = 32 // 42 4D 00 1C frames
	hpmaTop    = 1000
)

var hpmaStarts = startSet(pmsStart1, hpmaReply, hpmaAck, hpmaNak)

// hpma is the layout of one model. Offsets count from the first start byte.
type hpma struct {
	model    Model
	channels []dust.Channel // in wire order
	names    []string
	autoAt   int // first value in the auto-send frame
	readLen  int // LEN of the answer to a read
}

var (
	hpmaS0 = hpma{HPMA115S0, []dust.Channel{dust.PM25, dust.PM10}, []string{"pm2_5", "pm10"}, 6, 5}
	hpmaC0 = hpma{HPMA115C0, []dust.Channel{dust.PM1, dust.PM25, dust.PM4, dust.PM10},
		[]string{"pm1_0", "pm2_5", "pm4_0", "pm10"}, 4, 13}
)

func (l *hpma) starts() *[256]bool { return hpmaStarts }

// probe implements protocol.
func (l *hpma) probe(p []byte, f *Frame) verdict {
	switch p[0] {
	case pmsStart1:
		v := probeAuto(p)
		if v.act == accept {
			f.set(KindData, true, p[:v.n])
			l.flag(p[l.autoAt:], f)
		}
		return v
	case hpmaReply:
		return l.probeReply(p, f)
	}
	if len(p) < 2 {
		return verdict{act: wait, n: 2}
	}
	if p[1] != p[0] {
		return verdict{act: skip, n: 1}
	}
	kind := KindAck
	if p[0] == hpmaNak {
		kind = "nak"
	}
	f.set(kind, false, p[:2])
	return verdict{act: accept, n: 2}
}

// probeAuto judges a 32-byte frame 42 4D 00 1C with a 16-bit sum, which several
// makers use.
func probeAuto(p []byte) verdict {
	if len(p) < 2 {
		return verdict{act: wait, n: 2}
	}
	if p[1] != pmsStart2 {
		return verdict{act: skip, n: 1}
	}
	if len(p) < 4 {
		return verdict{act: wait, n: 4}
	}
	if be16(p, 2) != autoLength-4 {
		return verdict{act: refuse, kind: WrongLength, n: 1}
	}
	if len(p) < autoLength {
		return verdict{act: wait, n: autoLength}
	}
	if sum30((*[autoLength]byte)(p)) != be16(p, autoLength-2) {
		return verdict{act: refuse, kind: BadChecksum, n: 1}
	}
	return verdict{act: accept, n: autoLength}
}

// appendAuto appends a 42 4D 00 1C frame around its 26 bytes of payload.
func appendAuto(dst []byte, payload [26]byte) []byte {
	n := len(dst)
	dst = append(dst, pmsStart1, pmsStart2, 0, autoLength-4)
	dst = append(dst, payload[:]...)
	return binary.BigEndian.AppendUint16(dst, sum16(dst[n:]))
}

// probeReply judges 40 LEN CMD data CS.
func (l *hpma) probeReply(p []byte, f *Frame) verdict {
	if len(p) < 3 {
		return verdict{act: wait, n: 3}
	}
	length, cmd := int(p[1]), p[2]
	if !(cmd == hpmaRead && length == l.readLen || cmd == hpmaCoefficient && length == 2) {
		return verdict{act: refuse, kind: WrongLength, n: 1}
	}
	n := length + 3
	if len(p) < n {
		return verdict{act: wait, n: n}
	}
	if sum8(p[:n]) != 0 {
		return verdict{act: refuse, kind: BadChecksum, n: 1}
	}
	if cmd == hpmaCoefficient {
		f.set("coefficient", false, p[:n])
	} else {
		f.set(KindData, true, p[:n])
		l.flag(p[3:], f)
	}
	return verdict{act: accept, n: n}
}

func (l *hpma) flag(words []byte, f *Frame) {
	for i, c := range l.channels {
		if be16(words, 2*i) >= hpmaTop {
			f.Flags |= dust.SaturatedIn(c)
		}
	}
}

// words is where the values of a data frame begin.
func (l *hpma) words(f *Frame) []byte {
	if f.raw[0] == pmsStart1 {
		return f.raw[l.autoAt:]
	}
	return f.raw[3:]
}

// values implements protocol.
func (l *hpma) values(f *Frame, v *dust.Values) {
	words := l.words(f)
	for i, c := range l.channels {
		v.Set(c, word(words, 2*i))
	}
}

// fields implements protocol.
func (l *hpma) fields(f *Frame, yield func(Field) bool) {
	switch {
	case f.Kind == "coefficient":
		yield(Field{Name: "coefficient", Value: float64(f.raw[3])})
	case f.data:
		words := l.words(f)
		for i, name := range l.names {
			if !yield(Field{Name: name, Value: word(words, 2*i), Unit: "ug/m3"}) {
				return
			}
		}
	}
}

func (l *hpma) encode(dst []byte, v *dust.Values) ([]byte, error) {
	w := wireWriter{v: v}
	for _, c := range l.channels {
		w.u16(c, 1)
	}
	var payload [26]byte
	copy(payload[l.autoAt-4:], w.dst)
	w.dst = appendAuto(dst, payload)
	return w.done(dst, l.model)
}

// hpmaFrame closes a request so that all its bytes sum to zero.
func hpmaFrame(b ...byte) []byte { return append(b, -sum8(b)) }

func hpmaCommands() []command {
	request := func(name string, cmd byte) command { return command{name, hpmaFrame(hpmaRequest, 1, cmd)} }
	return []command{
		request("read", hpmaRead),
		request("wake", 0x01),  // start measuring, fan on
		request("sleep", 0x02), // stop measuring, fan off
		request("passive", 0x20),
		request("active", 0x40), // auto-send
		request("coefficient", hpmaCoefficient),
	}
}

// HPMASetCoefficient returns the command that makes the sensor multiply its
// values by percent/100, from 30 to 200; 100 is the default. It falsifies
// everything measured after it, so a Device never sends it. Whether it outlives a
// loss of power the data sheet does not say: assume that it does.
func HPMASetCoefficient(percent int) ([]byte, error) {
	if percent < 30 || percent > 200 {
		return nil, fmt.Errorf("coefficient %d: the sensor takes 30 to 200", percent)
	}
	return hpmaFrame(hpmaRequest, 2, 0x08, byte(percent)), nil
}

// hpmaModels: 9600 8N1, 0-1000 µg/m³, response below 6 s (data sheet, pages 4-6);
// 1 s between frames from memory.
func hpmaModels() []modelInfo {
	model := func(l *hpma, title string, extrapolated ...dust.Channel) modelInfo {
		top := map[dust.Channel]float64{}
		for _, c := range l.channels {
			top[c] = hpmaTop
		}
		return modelInfo{
			spec: Spec{
				Model: l.model, Title: title, Baud: 9600, WarmUp: 6 * time.Second,
				Interval: time.Second, gap: slowGap, Range: top, Extrapolated: extrapolated,
				Sees: "size range not stated; no independent test of what it sees is known",
			},
			protocol: func() protocol { return l },
			encode:   l.encode,
			commands: hpmaCommands(),
		}
	}
	return []modelInfo{
		model(&hpmaS0, "HPMA115S0", dust.PM10),
		model(&hpmaC0, "HPMA115C0", dust.PM4, dust.PM10),
	}
}
