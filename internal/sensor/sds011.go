package sensor

import (
	"encoding/binary"
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// The SDS family, 10-byte frames AA … AB, little endian, 8-bit sum of bytes 2-7
// (SDS protocol paper; SDS011 specification, section "UART").
//
// Oddities:
//   - Values beyond the stated 999.9 µg/m³ fit the wire; they are reported and
//     flagged.
//   - Users report 0/0 in query mode after sleep although the fan turns, and
//     sleep commands that are ignored.
const (
	sdsHead, sdsTail = 0xAA, 0xAB
	sdsData          = 0xC0
	sdsReply         = 0xC5
	sdsLength        = 10
	// sdsTop is 999.9 µg/m³ (SDS011 specification, table 1) in wire steps of 0.1.
	sdsTop = 9999
)

var sdsStarts = startSet(sdsHead)

// sds is the layout of one model: which command byte its data frames carry.
type sds struct {
	model   Model
	dataCmd byte
	raw     bool // data frames become no channels
	data    func(f *Frame, yield func(Field) bool)
}

func (l *sds) starts() *[256]bool { return sdsStarts }

// probe implements protocol.
func (l *sds) probe(p []byte, f *Frame) verdict {
	if len(p) < 2 {
		return verdict{act: wait, n: 2}
	}
	if p[1] != l.dataCmd && p[1] != sdsReply {
		return verdict{act: skip, n: 1}
	}
	if len(p) < sdsLength {
		return verdict{act: wait, n: sdsLength}
	}
	p = p[:sdsLength]
	if p[9] != sdsTail {
		return verdict{act: refuse, kind: BadTail, n: 1}
	}
	if sum8(p[2:8]) != p[8] {
		return verdict{act: refuse, kind: BadChecksum, n: 1}
	}
	if p[1] == sdsReply {
		f.set(sdsReplyKind(p[2]), false, p)
	} else {
		f.set(KindData, true, p)
		f.Flags = l.flags(p)
	}
	return verdict{act: accept, n: sdsLength}
}

// fields implements protocol.
func (l *sds) fields(f *Frame, yield func(Field) bool) {
	if f.data {
		l.data(f, yield)
	} else {
		sdsReplyFields(f, yield)
	}
}

func sum8(p []byte) byte {
	var sum byte
	for _, b := range p {
		sum += b
	}
	return sum
}

func (l *sds) flags(p []byte) (flags dust.Flags) {
	if l.raw {
		return 0
	}
	if binary.LittleEndian.Uint16(p[2:]) >= sdsTop {
		flags |= dust.Saturated
	}
	if binary.LittleEndian.Uint16(p[4:]) >= sdsTop {
		flags |= dust.SaturatedCoarse
	}
	return flags
}

// values implements protocol.
func (l *sds) values(f *Frame, v *dust.Values) {
	if l.raw {
		return
	}
	v.Set(dust.PM25, float64(binary.LittleEndian.Uint16(f.raw[2:]))/10)
	v.Set(dust.PM10, float64(binary.LittleEndian.Uint16(f.raw[4:]))/10)
}

func sds011Fields(f *Frame, yield func(Field) bool) {
	_ = yield(Field{Name: "pm2_5", Value: float64(binary.LittleEndian.Uint16(f.raw[2:])) / 10, Unit: "ug/m3"}) &&
		yield(Field{Name: "pm10", Value: float64(binary.LittleEndian.Uint16(f.raw[4:])) / 10, Unit: "ug/m3"}) &&
		yield(sdsDeviceField(f))
}

func sdsDeviceField(f *Frame) Field {
	return Field{Name: "device_id", Text: fmt.Sprintf("%02X%02X", f.raw[6], f.raw[7])}
}

// Sub-commands of requests and replies (SDS protocol paper, sections 1-6).
const (
	sdsSubMode     = 2
	sdsSubQuery    = 4
	sdsSubID       = 5
	sdsSubSleep    = 6
	sdsSubFirmware = 7
	sdsSubPeriod   = 8
)

// sdsReplyKind names the frame that answers sub-command sub.
func sdsReplyKind(sub byte) string {
	switch sub {
	case sdsSubMode:
		return "reporting_mode"
	case sdsSubID:
		return "device_id_set"
	case sdsSubSleep:
		return "sleep_work"
	case sdsSubFirmware:
		return "firmware"
	case sdsSubPeriod:
		return "working_period"
	}
	return KindResponse
}

func sdsReplyFields(f *Frame, yield func(Field) bool) {
	b := func(name string, i int, base float64, unit string) bool {
		return yield(Field{Name: name, Value: base + float64(f.raw[i]), Unit: unit})
	}
	ok := true
	switch f.raw[2] {
	case sdsSubMode, sdsSubSleep:
		ok = b("set", 3, 0, "") && b("value", 4, 0, "")
	case sdsSubPeriod:
		ok = b("set", 3, 0, "") && b("value", 4, 0, "min")
	case sdsSubFirmware:
		ok = b("year", 3, 2000, "") && b("month", 4, 0, "") && b("day", 5, 0, "")
	case sdsSubID:
	default:
		ok = b("sub_command", 2, 0, "") && b("byte_3", 3, 0, "") && b("byte_4", 4, 0, "") && b("byte_5", 5, 0, "")
	}
	if ok {
		yield(sdsDeviceField(f))
	}
}

// sdsExampleID is the device id in the protocol paper's examples; encoded frames
// carry it.
const sdsExampleID = 0xA160

func sds011Encode(dst []byte, v *dust.Values) ([]byte, error) {
	w := wireWriter{dst: append(dst, sdsHead, sdsData), v: v}
	w.u16le(dust.PM25, 10)
	w.u16le(dust.PM10, 10)
	w.dst = append(w.dst, sdsExampleID>>8, sdsExampleID&0xFF)
	w.dst = append(w.dst, sum8(w.dst[len(dst)+2:]), sdsTail)
	return w.done(dst, SDS011)
}

// SDSEverySensor is the device id that addresses every sensor on the line.
const SDSEverySensor = 0xFFFF

// SDSRequest is a request to one sensor of the SDS family, for what Command
// cannot say because it needs an address or a number (SDS protocol paper).
type SDSRequest struct {
	Sub    byte   // sub-command: 2 mode, 4 query, 5 set id, 6 sleep, 7 firmware, 8 period
	Set    byte   // 0 asks, 1 sets
	Value  byte   // mode 0 active, 1 query; sleep 0, work 1; period in minutes, 0 to 30
	NewID  uint16 // for sub-command 5
	Device uint16 // whom it is for; SDSEverySensor for all
}

// SurvivesPowerLoss reports whether the sensor keeps what the request sets.
func (r SDSRequest) SurvivesPowerLoss() bool {
	return r.Sub == sdsSubID || r.Set == 1 && (r.Sub == sdsSubMode || r.Sub == sdsSubPeriod)
}

// Bytes returns the 19 bytes of the request; the check is the low 8 bits of the
// sum of bytes 2-16.
func (r SDSRequest) Bytes() []byte {
	b := make([]byte, 19)
	b[0], b[1], b[2], b[3], b[4] = sdsHead, 0xB4, r.Sub, r.Set, r.Value
	binary.BigEndian.PutUint16(b[13:], r.NewID)
	binary.BigEndian.PutUint16(b[15:], r.Device)
	b[17], b[18] = sum8(b[2:17]), sdsTail
	return b
}

// sdsCommands are requests to every sensor on the line. Reporting mode and
// working period are kept over power loss.
func sdsCommands() []command {
	to := func(name string, sub, set, value byte) command {
		return command{name, SDSRequest{Sub: sub, Set: set, Value: value, Device: SDSEverySensor}.Bytes()}
	}
	return []command{
		to("read", sdsSubQuery, 0, 0), // at least 3 s apart
		to("mode", sdsSubMode, 0, 0),
		to("sleep", sdsSubSleep, 1, 0),
		to("wake", sdsSubSleep, 1, 1),
		to("firmware", sdsSubFirmware, 0, 0),
		to("period", sdsSubPeriod, 0, 0),
		to(keepPrefix+"active", sdsSubMode, 1, 0),
		to(keepPrefix+"query", sdsSubMode, 1, 1),
		to(keepPrefix+"continuous", sdsSubPeriod, 1, 0),
	}
}

// sds011Model: 9600 8N1, 1 s (SDS011 specification, sections "UART" and table 1);
// 30 s to steady values after work (SDS protocol paper, section 6: the fan runs 30 s
// before a value is taken in working-period mode).
func sds011Model() modelInfo {
	layout := &sds{SDS011, sdsData, false, sds011Fields}
	return modelInfo{
		spec: Spec{
			Model: SDS011, Title: "SDS011", Baud: 9600, WarmUp: 30 * time.Second,
			Interval: time.Second, gap: slowGap,
			Range:        map[dust.Channel]float64{dust.PM25: 999.9, dust.PM10: 999.9},
			Extrapolated: []dust.Channel{dust.PM10},
			Sees:         "0.3-10 µm claimed; in the lab nothing above 2 µm counts as PM10 (Atmos. Meas. Tech. 13, 2413, 2020)",
		},
		protocol: func() protocol { return layout },
		encode:   sds011Encode,
		commands: sdsCommands(),
	}
}
