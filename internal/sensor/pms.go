package sensor

import (
	"encoding/binary"
	"time"

	"dustlog/internal/dust"
)

// The PMS family, 42 4D frames (PMS5003 manual, appendix I; PMS7003 manual V2.5;
// layouts of T, S, ST and 3003 from a public driver, pmsx003.cpp; the ST's front
// matter from the "PMS5003ST series data manual" V2.6).
//
// Errata and oddities:
//   - Bytes 28, 29 are reserved in the PMS5003 and hold version and error code
//     in the PMS7003 (from memory, and a public text copy of its manual).
//   - The 8-byte acknowledgement is not in the manuals (from memory). A public
//     driver (Linux, pms7003.c) waits for "some frame" after each command.
//   - Four makers use 42 4D 00 1C: the bytes alone do not name the sensor.
const (
	pmsStart1, pmsStart2 = 0x42, 0x4D
	pmsHead              = pmsStart1<<24 | pmsStart2<<16
	pmsBefore            = 4 // start bytes and length, which the length does not count
	pmsAckLength         = 8
	// pmsTop is the largest mass the manual promises to output ("maximum range
	// ≥ 1000 µg/m³", table 1); drivers clamp there. Effective range is to 500.
	pmsTop = 1000
	// pmsCountTop is the largest number of particles per 0.1 L that fits.
	pmsCountTop = 65535
)

// pms is one layout of the family. Offsets count from the first start byte; 0
// means the model has no such field.
type pms struct {
	model        Model
	length       int // whole frame, in bytes
	counts       int // channels counted, from > 0.3 µm up
	formaldehyde int // u16, 0.001 mg/m³
	climate      int // i16 temperature in 0.1 °C, then u16 humidity in 0.1 %
	version      int // u8, then u8 error code
}

var (
	pms5003Layout   = pms{PMS5003, 32, 6, 0, 0, 0}
	pms7003Layout   = pms{PMS7003, 32, 6, 0, 0, 28}
	pmsA003Layout   = pms{PMSA003, 32, 6, 0, 0, 28}
	pms1003Layout   = pms{PMS1003, 32, 6, 0, 0, 28}
	pms5003TLayout  = pms{PMS5003T, 32, 4, 0, 24, 28}
	pms5003SLayout  = pms{PMS5003S, 32, 6, 28, 0, 0}
	pms5003STLayout = pms{PMS5003ST, 40, 6, 28, 30, 36}
	pms3003Layout   = pms{PMS3003, 24, 0, 0, 0, 0}
)

var (
	pmsStarts = startSet(pmsStart1)
	pmsMass   = [6]dust.Channel{dust.PM1, dust.PM25, dust.PM10, dust.PM1Atm, dust.PM25Atm, dust.PM10Atm}
	pmsNumber = [6]dust.Channel{dust.N03, dust.N05, dust.N10, dust.N25, dust.N50, dust.N100}
)

func (l *pms) starts() *[256]bool { return pmsStarts }

// probe implements protocol. The checksum is the 16-bit sum of all bytes before
// it, start bytes included (PMS5003 manual, appendix I).
func (l *pms) probe(p []byte, f *Frame) verdict {
	n := l.length
	if len(p) < n || be32(p) != pmsHead|uint32(n-pmsBefore) {
		var v verdict
		if n, v = l.probeHead(p); n == 0 {
			return v
		}
	}
	p = p[:n]
	sum := uint16(0)
	if n == 32 {
		sum = sum30((*[32]byte)(p))
	} else {
		sum = sum16(p[:n-2])
	}
	if sum != be16(p, n-2) {
		return verdict{act: refuse, kind: BadChecksum, n: 1}
	}
	if n == pmsAckLength {
		f.set(KindAck, false, p)
	} else {
		f.set(KindData, true, p)
		f.Flags = l.flags(p)
	}
	return verdict{act: accept, n: n}
}

// probeHead looks at start bytes and length, as far as they are there. It returns
// the length of a candidate that is there as a whole, or 0 and a verdict.
func (l *pms) probeHead(p []byte) (int, verdict) {
	if len(p) < 2 {
		return 0, verdict{act: wait, n: 2}
	}
	if p[1] != pmsStart2 {
		return 0, verdict{act: skip, n: 1}
	}
	if len(p) < pmsBefore {
		return 0, verdict{act: wait, n: pmsBefore}
	}
	n := int(be16(p, 2)) + pmsBefore
	if n != l.length && n != pmsAckLength {
		return 0, verdict{act: refuse, kind: WrongLength, n: 1}
	}
	if len(p) < n {
		return 0, verdict{act: wait, n: n}
	}
	return n, verdict{}
}

// flags looks at the words as sent: masses at their top; counts that rise with
// size, which counts of particles beyond a size cannot; the smallest size at its
// top, which is the only one that can be while the order holds.
func (l *pms) flags(p []byte) (flags dust.Flags) {
	if p := p[:16]; anyFrom(be64(p, 4)|be64(p, 8), pmsTop) {
		flags = pmsTops(p) // one of them may be: look closer
	}
	if l.counts == 0 {
		return flags
	}
	words := (*[28]byte)(p)
	first := binary.BigEndian.Uint64(words[16:])
	second, third := first<<16, uint64(0)
	if l.counts == 6 {
		second, third = binary.BigEndian.Uint64(words[18:]), binary.BigEndian.Uint64(words[20:])
	}
	fallen := notBelow(first, second) & notBelow(second, third)
	if fallen != tops {
		flags |= dust.CountOrder
	}
	if first>>48 == pmsCountTop {
		flags |= dust.SaturatedCount
	}
	return flags
}

// pmsTops tells which masses are at their top. Not inlined: where the same bytes
// are read as words too, the compiler reads four words byte by byte.
//
//go:noinline
func pmsTops(p []byte) (flags dust.Flags) {
	if max(be16(p, 4), be16(p, 6), be16(p, 10), be16(p, 12)) >= pmsTop {
		flags |= dust.Saturated
	}
	if max(be16(p, 8), be16(p, 14)) >= pmsTop {
		flags |= dust.SaturatedCoarse
	}
	return flags
}

// values implements protocol. Particles per 0.1 L become particles per cm³: 100
// cm³ are 0.1 L.
func (l *pms) values(f *Frame, v *dust.Values) {
	p := f.raw
	// Channels are written out: with constants the compiler makes each a store.
	v.Set(dust.PM1, word(p, 4))
	v.Set(dust.PM25, word(p, 6))
	v.Set(dust.PM10, word(p, 8))
	v.Set(dust.PM1Atm, word(p, 10))
	v.Set(dust.PM25Atm, word(p, 12))
	v.Set(dust.PM10Atm, word(p, 14))
	if l.counts >= 4 {
		v.Set(dust.N03, word(p, 16)/100)
		v.Set(dust.N05, word(p, 18)/100)
		v.Set(dust.N10, word(p, 20)/100)
		v.Set(dust.N25, word(p, 22)/100)
	}
	if l.counts == 6 {
		v.Set(dust.N50, word(p, 24)/100)
		v.Set(dust.N100, word(p, 26)/100)
	}
	if i := l.climate; i > 0 {
		v.Set(dust.Temperature, float64(int16(be16(p, i)))/10)
		v.Set(dust.Humidity, word(p, i+2)/10)
	}
	if i := l.formaldehyde; i > 0 {
		v.Set(dust.Formaldehyde, word(p, i)/1000)
	}
}

// fields implements protocol.
func (l *pms) fields(f *Frame, yield func(Field) bool) {
	if f.Kind == KindAck {
		pmsAckFields(f, yield)
		return
	}
	mass := [6]string{"pm1_0_cf1", "pm2_5_cf1", "pm10_cf1", "pm1_0_atm", "pm2_5_atm", "pm10_atm"}
	number := [6]string{"n_gt_0_3", "n_gt_0_5", "n_gt_1_0", "n_gt_2_5", "n_gt_5_0", "n_gt_10"}
	word := func(i int) float64 { return float64(binary.BigEndian.Uint16(f.raw[i:])) }
	for i, name := range mass {
		if !yield(Field{Name: name, Value: word(4 + 2*i), Unit: "ug/m3"}) {
			return
		}
	}
	for i, name := range number[:l.counts] {
		if !yield(Field{Name: name, Value: word(16 + 2*i), Unit: "1/0.1L"}) {
			return
		}
	}
	if i := l.formaldehyde; i > 0 && !yield(Field{Name: "hcho", Value: word(i) / 1000, Unit: "mg/m3"}) {
		return
	}
	if i := l.climate; i > 0 {
		celsius := float64(int16(binary.BigEndian.Uint16(f.raw[i:]))) / 10
		if !yield(Field{Name: "temperature", Value: celsius, Unit: "Cel"}) ||
			!yield(Field{Name: "humidity", Value: word(i+2) / 10, Unit: "%RH"}) {
			return
		}
	}
	if i := l.version; i > 0 && yield(Field{Name: "version", Value: float64(f.raw[i])}) {
		yield(Field{Name: "error_code", Value: float64(f.raw[i+1])})
	}
}

func pmsAckFields(f *Frame, yield func(Field) bool) {
	if yield(Field{Name: "command", Value: float64(f.raw[4])}) {
		yield(Field{Name: "data", Value: float64(f.raw[5])})
	}
}

// Version byte that encoded frames carry, as seen in published captures.
const pmsVersion = 0x97

func (l *pms) encode(dst []byte, v *dust.Values) ([]byte, error) {
	w := wireWriter{dst: append(dst, pmsStart1, pmsStart2, 0, byte(l.length-4)), v: v}
	for _, c := range pmsMass {
		w.u16(c, 1)
	}
	for _, c := range pmsNumber[:l.counts] {
		w.u16(c, 100)
	}
	if l.formaldehyde > 0 {
		w.u16(dust.Formaldehyde, 1000)
	}
	if l.climate > 0 {
		w.i16(dust.Temperature, 10)
		w.u16(dust.Humidity, 10)
	}
	for len(w.dst) < len(dst)+l.length-2 {
		w.dst = append(w.dst, 0) // reserved
	}
	frame := w.dst[len(dst):]
	if l.version > 0 {
		frame[l.version] = pmsVersion
	}
	w.dst = binary.BigEndian.AppendUint16(w.dst, sum16(frame))
	return w.done(dst, l.model)
}

// pmsCommands are the requests of the PMS5003 manual, appendix II; check is the
// 16-bit sum of the five bytes before it. None survives power loss.
func pmsCommands() []command {
	request := func(name string, cmd, data byte) command {
		b := []byte{pmsStart1, pmsStart2, cmd, 0, data}
		return command{name, binary.BigEndian.AppendUint16(b, sum16(b))}
	}
	return []command{
		request("read", 0xE2, 0), // in passive mode; answer: a data frame
		request("passive", 0xE1, 0),
		request("active", 0xE1, 1), // power-on default
		request("sleep", 0xE4, 0),
		request("wake", 0xE4, 1),
	}
}

// pmsModels describes the family. Warm-up 30 s after power-up or wake, 9600 8N1:
// PMS5003 manual, "circuit attentions" and appendix I; of the PMS3003 from memory.
func pmsModels() []modelInfo {
	sees := "0.3-10 µm claimed; in the lab little above 1 µm (Atmos. Meas. Tech. 13, 2413, 2020)"
	model := func(l *pms, title string) modelInfo {
		return modelInfo{
			spec: Spec{
				Model: l.model, Title: title, Baud: 9600, WarmUp: 30 * time.Second,
				// 2.3 s while values are steady, 0.2-0.8 s while they change.
				Interval: 2300 * time.Millisecond, gap: slowGap,
				Range: l.ranges(), Sees: sees,
				Extrapolated: []dust.Channel{dust.PM10, dust.PM10Atm},
			},
			protocol: func() protocol { return l },
			encode:   l.encode,
			commands: pmsCommands(),
		}
	}
	return []modelInfo{
		model(&pms5003Layout, "PMS5003"),
		model(&pms7003Layout, "PMS7003"),
		model(&pmsA003Layout, "PMSA003"),
		model(&pms1003Layout, "PMS1003"),
		model(&pms5003TLayout, "PMS5003T, with temperature and humidity"),
		model(&pms5003SLayout, "PMS5003S, with formaldehyde"),
		model(&pms5003STLayout, "PMS5003ST, with formaldehyde, temperature and humidity"),
		model(&pms3003Layout, "PMS3003"),
	}
}

func (l *pms) ranges() map[dust.Channel]float64 {
	top := map[dust.Channel]float64{}
	for _, c := range pmsMass {
		top[c] = pmsTop
	}
	for _, c := range pmsNumber[:l.counts] {
		top[c] = float64(pmsCountTop) / 100
	}
	return top
}
