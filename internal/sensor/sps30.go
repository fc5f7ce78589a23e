package sensor

import (
	"bytes"
	"encoding/binary"
	"math"
	"strconv"
	"time"

	"dustlog/internal/dust"
)

// The SPS30 over UART, SHDLC frames 7E … 7E, big endian (SPS30 data sheet,
// section 5; stuffing in its table 5).
//
// Errata of the data sheet, checked by calculation:
//   - The product-type answer is printed with checksum 9B; the rule gives 9E.
//   - The version answer is printed with state 01, its checksum fits 00.
//   - The wake-up frames leave 11 unstuffed, against table 5, while a published
//     capture of a sensor's answer has it stuffed. Sent stuffed, accepted both
//     ways.
const (
	shdlcFlag   = 0x7E
	shdlcEscape = 0x7D
	// shdlcBody is the longest answer: ADR CMD STATE L, 255 data bytes, CHK.
	shdlcBody = 4 + 255 + 1
	// shdlcWire is its length when every byte is stuffed.
	shdlcWire = 2 * shdlcBody
)

// Commands (SPS30 data sheet, table 6).
const (
	sps30Start     = 0x00
	sps30Stop      = 0x01
	sps30Read      = 0x03
	sps30Sleep     = 0x10
	sps30Wake      = 0x11
	sps30Clean     = 0x56
	sps30AutoClean = 0x80
	sps30Info      = 0xD0
	sps30Version   = 0xD1
	sps30Status    = 0xD2
	sps30Reset     = 0xD3
)

// Bits of the device status register (SPS30 data sheet, section 4.4).
const (
	sps30BitSpeed = 1 << 21
	sps30BitLaser = 1 << 5
	sps30BitFan   = 1 << 4
)

// sps30Wrong is the code of a command that is not allowed in the present state.
const sps30Wrong = 0x43

const sps30FloatData, sps30IntData = 40, 20

var (
	sps30Starts   = startSet(shdlcFlag)
	sps30Channels = [10]dust.Channel{
		dust.PM1, dust.PM25, dust.PM4, dust.PM10,
		dust.NPM05, dust.NPM1, dust.NPM25, dust.NPM4, dust.NPM10, dust.TypicalSize,
	}
	// sps30Tops: SPS30 data sheet, table 1.
	sps30Tops = [10]float64{1000, 1000, 1000, 1000, 3000, 3000, 3000, 3000, 3000, math.Inf(1)}
)

// shdlc holds an answer's bytes after unstuffing: ADR CMD STATE L data CHK.
type shdlc struct {
	body [shdlcBody]byte
	n    int
}

func (d *shdlc) starts() *[256]bool { return sps30Starts }

// probe implements protocol. The closing flag is left in place: it may open the
// next frame as well.
func (d *shdlc) probe(p []byte, f *Frame) verdict {
	end := bytes.IndexByte(p[1:min(len(p), shdlcWire+2)], shdlcFlag)
	switch {
	case end == 0:
		return verdict{act: pass, n: 1} // empty piece
	case end < 0 && len(p) >= shdlcWire+2:
		return verdict{act: refuse, kind: WrongLength, n: 1}
	case end < 0 && len(p) == 1:
		return verdict{act: wait, left: idle}
	case end < 0:
		return verdict{act: wait}
	}
	piece := p[1 : 1+end]
	if kind, ok := d.unstuff(piece); !ok {
		return verdict{act: refuse, kind: kind, n: 1 + end}
	}
	body := d.body[:d.n]
	if len(body) < 5 || int(body[3]) != len(body)-5 {
		return verdict{act: refuse, kind: WrongLength, n: 1 + end}
	}
	if ^sum8(body[:len(body)-1]) != body[len(body)-1] {
		return verdict{act: refuse, kind: BadChecksum, n: 1 + end}
	}
	d.decode(p[:2+end], f)
	return verdict{act: accept, n: 1 + end}
}

// unstuff fills the body from a piece between two flags.
func (d *shdlc) unstuff(piece []byte) (ErrorKind, bool) {
	d.n = 0
	for i := 0; i < len(piece); i++ {
		b := piece[i]
		if b == shdlcEscape {
			i++
			if i == len(piece) {
				return BadEscape, false
			}
			switch piece[i] {
			case 0x5E, 0x5D, 0x31, 0x33:
				b = piece[i] ^ 0x20
			default:
				return BadEscape, false
			}
		}
		if d.n == len(d.body) {
			return WrongLength, false
		}
		d.body[d.n] = b
		d.n++
	}
	return 0, true
}

// data is the answer's payload.
func (d *shdlc) data() []byte { return d.body[4 : d.n-1] }

// words is how many bytes each measured value has: 4 (float), 2 (unsigned) or 0
// if the answer holds none.
func (d *shdlc) words() int {
	if d.body[1] != sps30Read {
		return 0
	}
	switch len(d.data()) {
	case sps30FloatData:
		return 4
	case sps30IntData:
		return 2
	}
	return 0
}

// value returns measured value i as sent; whole numbers have the size in nm.
func (d *shdlc) value(i int) float64 {
	if d.words() == 4 {
		return float64(math.Float32frombits(binary.BigEndian.Uint32(d.data()[4*i:])))
	}
	return float64(binary.BigEndian.Uint16(d.data()[2*i:]))
}

func (d *shdlc) decode(raw []byte, f *Frame) {
	if d.words() == 0 {
		f.set(KindResponse, false, raw)
		if d.body[1] == sps30Status && len(d.data()) >= 4 {
			f.Flags = sps30StatusFlags(binary.BigEndian.Uint32(d.data()))
		}
		return
	}
	f.set(KindData, true, raw)
	for i, c := range sps30Channels {
		switch x := d.value(i); {
		case x-x != 0: // not a number, or infinite
			f.Flags |= dust.MissingValue
		case x >= sps30Tops[i]:
			f.Flags |= dust.SaturatedIn(c)
		case x < 0 && c.IsMass():
			f.Flags |= dust.NegativeMass
		}
	}
	// The state byte says that fan or laser is in trouble, but not which. Until
	// the status register is read, neither can be relied on.
	if d.body[2]&0x80 != 0 {
		f.Flags |= dust.FanFault | dust.LaserFault
	}
}

// values implements protocol.
func (d *shdlc) values(_ *Frame, v *dust.Values) {
	for i, c := range sps30Channels[:9] {
		v.Set(c, d.value(i))
	}
	size := d.value(9)
	if d.words() == 2 {
		size /= 1000
	}
	v.Set(dust.TypicalSize, size)
}

// sps30StatusFlags translates the device status register. A fan that is out of
// its speed range moves less or more air than the values assume.
func sps30StatusFlags(register uint32) dust.Flags {
	var flags dust.Flags
	if register&(sps30BitSpeed|sps30BitFan) != 0 {
		flags |= dust.FanFault
	}
	if register&sps30BitLaser != 0 {
		flags |= dust.LaserFault
	}
	return flags
}

// fields implements protocol.
func (d *shdlc) fields(_ *Frame, yield func(Field) bool) {
	number := func(name string, x float64) bool { return yield(Field{Name: name, Value: x}) }
	if !number("command", float64(d.body[1])) ||
		!number("error_flag", float64(d.body[2]>>7)) ||
		!number("error_code", float64(d.body[2]&0x7F)) {
		return
	}
	if d.words() > 0 {
		d.valueFields(yield)
		return
	}
	data := d.data()
	switch cmd := d.body[1]; {
	case cmd == sps30Info && len(data) > 0:
		yield(Field{Name: "text", Text: d.text()})
	case cmd == sps30Version && len(data) == 7:
		version := func(i int) string { return strconv.Itoa(int(data[i])) + "." + strconv.Itoa(int(data[i+1])) }
		_ = yield(Field{Name: "firmware", Text: version(0)}) &&
			number("hardware", float64(data[3])) &&
			yield(Field{Name: "shdlc", Text: version(5)})
	case cmd == sps30Status && len(data) >= 4:
		register := binary.BigEndian.Uint32(data)
		bit := func(mask uint32) float64 {
			if register&mask != 0 {
				return 1
			}
			return 0
		}
		_ = number("speed_warning", bit(sps30BitSpeed)) && number("laser_error", bit(sps30BitLaser)) &&
			number("fan_error", bit(sps30BitFan))
	case cmd == sps30AutoClean && len(data) == 4:
		yield(Field{Name: "interval", Value: float64(binary.BigEndian.Uint32(data)), Unit: "s"})
	}
}

func (d *shdlc) valueFields(yield func(Field) bool) {
	names := [10]string{
		"pm1_0", "pm2_5", "pm4_0", "pm10",
		"n_0_5", "n_1_0", "n_2_5", "n_4_0", "n_10", "typical_size",
	}
	for i, name := range names {
		f := Field{Name: name, Value: d.value(i), Unit: "ug/m3"}
		switch {
		case i == 9 && d.words() == 2:
			f.Unit = "nm"
		case i == 9:
			f.Unit = "um"
		case i >= 4:
			f.Unit = "1/cm3"
		}
		if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
			f.Value, f.Missing = 0, true
		}
		if !yield(f) {
			return
		}
	}
}

// appendSHDLC appends body, its checksum and the flags, stuffed by table 5.
func appendSHDLC(dst []byte, body ...byte) []byte {
	dst = append(dst, shdlcFlag)
	for _, b := range append(body, ^sum8(body)) {
		switch b {
		case shdlcFlag, shdlcEscape, 0x11, 0x13:
			dst = append(dst, shdlcEscape, b^0x20)
		default:
			dst = append(dst, b)
		}
	}
	return append(dst, shdlcFlag)
}

// sps30Encode answers a read request with floats; a missing channel is sent as
// "not a number", which the wire can say.
func sps30Encode(dst []byte, v *dust.Values) ([]byte, error) {
	body := []byte{0, sps30Read, 0, sps30FloatData}
	for _, c := range sps30Channels {
		x := float32(math.NaN())
		if value, ok := v.Get(c); ok {
			x = float32(value)
		}
		body = binary.BigEndian.AppendUint32(body, math.Float32bits(x))
	}
	return appendSHDLC(dst, body...), nil
}

// SPS30SetAutoClean returns the command that sets the interval between fan
// cleanings, in whole seconds, 0 for none. The sensor keeps it over power loss.
func SPS30SetAutoClean(interval time.Duration) []byte {
	body := []byte{0, sps30AutoClean, 5, 0}
	s := min(max(interval/time.Second, 0), math.MaxUint32)
	return appendSHDLC(nil, binary.BigEndian.AppendUint32(body, uint32(s))...)
}

// sps30Commands: SPS30 data sheet, table 6. Before "wake" a byte FF must be sent.
func sps30Commands() []command {
	request := func(name string, cmd byte, data ...byte) command {
		return command{name, appendSHDLC(nil, append([]byte{0, cmd, byte(len(data))}, data...)...)}
	}
	return []command{
		request("read", sps30Read),
		request("start_float", sps30Start, 1, 3),
		request("start_uint16", sps30Start, 1, 5), // firmware 2.0 and later
		request("stop", sps30Stop),
		request("sleep", sps30Sleep), // from idle only, firmware 2.0 and later
		request("wake", sps30Wake),
		request("clean", sps30Clean), // 10 s, values frozen meanwhile
		request("auto_clean", sps30AutoClean, 0),
		request("product_type", sps30Info, 0),
		request("serial_number", sps30Info, 3),
		request("version", sps30Version),
		request("status", sps30Status, 0),
		request("status_clear", sps30Status, 1),
		request("reset", sps30Reset),
	}
}

// sps30Model: 115200 8N1, 1 s, start-up up to 30 s in clean air (SPS30 data
// sheet, tables 1, 2 and section 5); PM4 and PM10 are calculated from the
// distribution of smaller particles (section 1, footnotes).
func sps30Model() modelInfo {
	top := map[dust.Channel]float64{}
	for i, c := range sps30Channels[:9] {
		top[c] = sps30Tops[i]
	}
	return modelInfo{
		spec: Spec{
			Model: SPS30, Title: "SPS30", Baud: 115200, WarmUp: 30 * time.Second,
			Interval: time.Second, gap: fastGap, Polled: true, Range: top,
			Extrapolated: []dust.Channel{dust.PM4, dust.PM10},
			Sees:         "0.3-10 µm claimed; in the lab 0.3-1.3 µm (Atmos. Meas. Tech. 13, 2413, 2020)",
		},
		protocol: func() protocol { return &shdlc{} },
		encode:   sps30Encode,
		commands: sps30Commands(),
	}
}
