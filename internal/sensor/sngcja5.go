package sensor

import (
	"encoding/binary"
	"math"
	"time"

	"dustlog/internal/dust"
)

// The SN-GCJA5 (product specification JA5-SSP-E1.0, communication specification
// JA5-SSP-COMM-E1.0): 32-byte frames 02 … 03, little endian, XOR check, even
// parity. It has no receive line: nothing can be asked.
//
// Errata and oddities:
//   - The sheet speaks of mass times 1000 in "3 bytes/20 bit" and in the same
//     sentence of a 16-bit variable; public drivers disagree. Divided by 1000
//     here: an indoor PM2.5 that stays below 0.05 µg/m³ speaks against it.
//   - Counts are per size class, not "larger than", and the sheet leaves the
//     volume open, so they become no channel.
const (
	gcjStart  = 0x02
	gcjEnd    = 0x03
	gcjLength = 32
	// gcjTop is 2000 µg/m³ (product specification, UART range) in wire steps.
	gcjTop = 2_000_000
)

type sngcja5 struct{}

var (
	gcjStarts = startSet(gcjStart)
	gcjMass   = [3]dust.Channel{dust.PM1, dust.PM25, dust.PM10}
	gcjZeros  = [4]int{19, 20, 27, 28}
)

func (sngcja5) starts() *[256]bool { return gcjStarts }

// probe implements protocol.
func (sngcja5) probe(p []byte, f *Frame) verdict {
	if len(p) < gcjLength {
		return verdict{act: wait, n: gcjLength}
	}
	p = p[:gcjLength]
	if p[31] != gcjEnd {
		return verdict{act: refuse, kind: BadTail, n: 1}
	}
	for _, i := range gcjZeros {
		if p[i] != 0 {
			return verdict{act: refuse, kind: BadFixed, n: 1}
		}
	}
	if xor8(p[1:30]) != p[30] {
		return verdict{act: refuse, kind: BadChecksum, n: 1}
	}
	f.set(KindData, true, p)
	for i, c := range gcjMass {
		if binary.LittleEndian.Uint32(p[1+4*i:]) >= gcjTop {
			f.Flags |= dust.SaturatedIn(c)
		}
	}
	f.Flags |= gcjStatusFlags(p[29])
	return verdict{act: accept, n: gcjLength}
}

// values implements protocol.
func (sngcja5) values(f *Frame, v *dust.Values) {
	for i, c := range gcjMass {
		v.Set(c, float64(binary.LittleEndian.Uint32(f.raw[1+4*i:]))/1000)
	}
}

func xor8(p []byte) byte {
	var x byte
	for _, b := range p {
		x ^= b
	}
	return x
}

// gcjStatusFlags reads the status byte: two bits each for sensor, photodiode,
// laser and fan; 0 normal, 1 normal with correction, 2 abnormal (of the fan: in
// calibration), 3 abnormal.
func gcjStatusFlags(status byte) dust.Flags {
	diode, laser, fan := status>>4&3, status>>2&3, status&3
	var flags dust.Flags
	if diode >= 2 || laser >= 2 {
		flags |= dust.LaserFault
	}
	switch fan {
	case 2:
		flags |= dust.WarmUp
	case 3:
		flags |= dust.FanFault
	}
	if status>>6 >= 2 && flags == 0 { // abnormal, but it does not say what
		flags |= dust.LaserFault | dust.FanFault
	}
	return flags
}

// fields implements protocol.
func (sngcja5) fields(f *Frame, yield func(Field) bool) {
	for i, name := range [3]string{"pm1_0", "pm2_5", "pm10"} {
		x := binary.LittleEndian.Uint32(f.raw[1+4*i:])
		if !yield(Field{Name: name, Value: float64(x) / 1000, Unit: "ug/m3"}) {
			return
		}
	}
	for _, c := range [6]struct {
		name string
		at   int
	}{
		{"n_0_3_0_5", 13}, {"n_0_5_1_0", 15}, {"n_1_0_2_5", 17},
		{"n_2_5_5_0", 21}, {"n_5_0_7_5", 23}, {"n_7_5_10", 25},
	} {
		if !yield(Field{Name: c.name, Value: float64(binary.LittleEndian.Uint16(f.raw[c.at:]))}) {
			return
		}
	}
	for i, name := range [4]string{"sensor_status", "pd_status", "ld_status", "fan_status"} {
		if !yield(Field{Name: name, Value: float64(f.raw[29] >> (6 - 2*i) & 3)}) {
			return
		}
	}
}

// gcjEncode sends the mass channels, no counts, and normal status.
func gcjEncode(dst []byte, v *dust.Values) ([]byte, error) {
	w := wireWriter{v: v}
	var frame [gcjLength]byte
	frame[0], frame[31] = gcjStart, gcjEnd
	for i, c := range gcjMass {
		binary.LittleEndian.PutUint32(frame[1+4*i:], uint32(w.scaled(c, 1000, 0, math.MaxUint32)))
	}
	frame[30] = xor8(frame[1:30])
	w.dst = append(dst, frame[:]...)
	return w.done(dst, SNGCJA5)
}

// sngcja5Model: 9600 8E1, 1 s; steady after 8 s of start and 20 s of settling
// (product specification).
func sngcja5Model() modelInfo {
	return modelInfo{
		spec: Spec{
			Model: SNGCJA5, Title: "SN-GCJA5", Baud: 9600, Parity: ParityEven, WarmUp: 28 * time.Second,
			Interval: time.Second, gap: slowGap,
			Range:        map[dust.Channel]float64{dust.PM1: 2000, dust.PM25: 2000, dust.PM10: 2000},
			Extrapolated: []dust.Channel{dust.PM10},
			Sees:         "0.3-10 µm claimed; no independent test of what it sees is known",
		},
		protocol: func() protocol { return sngcja5{} },
		encode:   gcjEncode,
	}
}
