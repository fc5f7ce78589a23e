package sensor

import "encoding/binary"

// Words of 16 bits, most significant byte first, one by one and four at a time: a
// uint64 read from the wire holds four words in four lanes that do not disturb
// each other.

const (
	lowBytes = 0x00FF00FF00FF00FF
	ones     = 0x0001000100010001 // 1 in every lane
	tops     = 0x8000 * ones      // the top bit of every lane
)

func be16(p []byte, i int) uint16  { return binary.BigEndian.Uint16(p[i:]) }
func be32(p []byte) uint32         { return binary.BigEndian.Uint32(p) }
func be64(p []byte, i int) uint64  { return binary.BigEndian.Uint64(p[i:]) }
func word(p []byte, i int) float64 { return float64(be16(p, i)) }

// sum16 adds bytes, eight at a time: pairs first, then the lanes.
func sum16(p []byte) uint16 {
	var acc uint64
	rest := p
	for ; len(rest) >= 8; rest = rest[8:] {
		x := binary.LittleEndian.Uint64(rest)
		acc += x&lowBytes + x>>8&lowBytes // at most 510 a lane and step: no carry within 128 steps
	}
	if n := len(rest); n > 0 && len(p) >= 8 { // the last eight once more, without those counted
		x := binary.LittleEndian.Uint64(p[len(p)-8:]) >> (8 * (8 - n))
		acc += x&lowBytes + x>>8&lowBytes
		rest = nil
	}
	sum := uint16(acc * ones >> 48)
	for _, b := range rest {
		sum += uint16(b)
	}
	return sum
}

// sum30 is sum16 of all but the last two bytes of a frame of 32, the most common.
func sum30(p *[32]byte) uint16 {
	a, b := binary.LittleEndian.Uint64(p[0:]), binary.LittleEndian.Uint64(p[8:])
	c, d := binary.LittleEndian.Uint64(p[16:]), binary.LittleEndian.Uint64(p[24:])<<16
	acc := a&lowBytes + a>>8&lowBytes + b&lowBytes + b>>8&lowBytes +
		c&lowBytes + c>>8&lowBytes + d&lowBytes + d>>8&lowBytes
	return uint16(acc * ones >> 48)
}

// anyFrom reports whether any of four words is least or more; least < 0x8000.
func anyFrom(words uint64, least uint16) bool {
	// Without its top bit a word cannot carry into the next lane.
	return ((words&^tops)+uint64(0x8000-least)*ones|words)&tops != 0
}

// notBelow sets the top bit of every lane in which a is as large as b.
func notBelow(a, b uint64) uint64 {
	rest := (a | tops) - (b &^ tops) // top bit: a without its top bit ≥ b without its
	return (a&^b | ^(a^b)&rest) & tops
}
