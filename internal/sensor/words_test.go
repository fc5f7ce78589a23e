package sensor

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// Four words at a time must say what one after the other does: expected values
// are computed word by word, by the definition.
func TestWordsFourAtATime(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 64))
	edge := []uint16{0, 1, 999, 1000, 1001, 0x7FFF, 0x8000, 0x8001, 0xFFFE, 0xFFFF}
	word := func() uint16 {
		if r.IntN(2) == 0 {
			return edge[r.IntN(len(edge))]
		}
		return uint16(r.Uint32())
	}
	pack := func(w [4]uint16) (x uint64) {
		for _, one := range w {
			x = x<<16 | uint64(one)
		}
		return x
	}
	for range 200_000 {
		a, b := [4]uint16{word(), word(), word(), word()}, [4]uint16{word(), word(), word(), word()}
		require.Equal(t, slices.Max(a[:]) >= 1000, anyFrom(pack(a), 1000), "%v", a)
		none := true
		for i := range a {
			none = none && a[i] >= b[i]
		}
		require.Equal(t, none, notBelow(pack(a), pack(b)) == tops, "%v %v", a, b)
	}
}

func TestSum16IsTheSumOfBytes(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 16))
	for n := range 300 {
		p := make([]byte, n)
		for _, fill := range []func() byte{func() byte { return 0xFF }, func() byte { return byte(r.Uint32()) }} {
			var want uint16
			for i := range p {
				p[i] = fill()
				want += uint16(p[i])
			}
			require.Equal(t, want, sum16(p), "%d bytes", n)
			if n == 30 {
				require.Equal(t, want, sum30((*[32]byte)(append(p, fill(), fill()))))
			}
		}
	}
}
