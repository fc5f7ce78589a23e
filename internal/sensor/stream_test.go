package sensor_test

import (
	"encoding/hex"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// goodFrame makes a frame that differs from its neighbours.
func goodFrame(t testing.TB, m sensor.Model, r *rand.Rand) []byte {
	v := example()
	for c := range dust.ChannelCount {
		v.Set(c, float64(r.IntN(600)))
	}
	b, err := sensor.AppendFrame(nil, m, v)
	require.NoError(t, err)
	return b
}

// noise makes what comes before a good frame on a bad line: random bytes, the
// head of a frame, or a frame with one bit flipped.
func noise(t testing.TB, m sensor.Model, r *rand.Rand) []byte {
	frame := goodFrame(t, m, r)
	switch r.IntN(6) {
	case 0, 1:
		garbage := make([]byte, r.IntN(40))
		for i := range garbage {
			garbage[i] = byte(r.UintN(256))
		}
		return garbage
	case 2:
		return frame[:1+r.IntN(len(frame)-2)] // an SPS30's frame without its last byte is whole
	case 3:
		return flip(frame, r, 1)
	}
	return nil
}

func flip(frame []byte, r *rand.Rand, bits int) []byte {
	for _, bit := range r.Perm(len(frame) * 8)[:bits] {
		frame[bit/8] ^= 1 << (bit % 8)
	}
	return frame
}

// feedRandomly returns the data frames that come out of stream in random pieces.
func feedRandomly(t testing.TB, m sensor.Model, stream []byte, r *rand.Rand) []string {
	dec, err := sensor.NewDecoder(m)
	require.NoError(t, err)
	var got []string
	emit := func(f *sensor.Frame) {
		if f.IsData() {
			got = append(got, hex.EncodeToString(f.Raw()))
		}
	}
	for len(stream) > 0 {
		n := min(1+r.IntN(100), len(stream))
		dec.Feed(stream[:n], emit)
		stream = stream[n:]
	}
	dec.Flush(emit)
	return got
}

// requireFrames compares without printing ten thousand frames.
func requireFrames(t *testing.T, want, got []string) {
	t.Helper()
	for i := range min(len(want), len(got)) {
		require.Equal(t, want[i], got[i], "frame %d", i)
	}
	require.Equal(t, len(want), len(got), "number of frames")
}

// No good frame may be lost. How many may be invented follows from the checks.
// Every sum and XOR finds every single flipped bit, so what is left are noise that
// happens to look like a head, and cut heads that take bytes of what follows them.
// In 10,000 frames there are about 150,000 noise bytes, of which one in 2³² begins a
// 4-byte head, and 1,700 cut frames; a candidate passes a 16-bit sum with 2⁻¹⁶, an
// 8-bit check and end byte together likewise. That makes 0.03 frames expected, so
// none is allowed.
func TestNoisyLine(t *testing.T) {
	for _, m := range encodable() {
		if m == sensor.SenMLLine {
			continue // has no checksum: see TestNoisyText
		}
		t.Run(string(m), func(t *testing.T) {
			r := rand.New(rand.NewPCG(5003, 42))
			var stream []byte
			var want []string
			for range 10_000 {
				stream = append(stream, noise(t, m, r)...)
				good := goodFrame(t, m, r)
				stream = append(stream, good...)
				want = append(want, hex.EncodeToString(good))
			}
			requireFrames(t, want, feedRandomly(t, m, stream, r))
		})
	}
}

// Text lines have no checksum: a flipped digit is another number. What JSON and
// UTF-8 can find they must find, and a broken line costs no good one.
func TestNoisyText(t *testing.T) {
	r := rand.New(rand.NewPCG(8428, 42))
	var stream []byte
	var want []string
	for range 10_000 {
		switch line := goodFrame(t, sensor.SenMLLine, r); r.IntN(3) {
		case 0:
			garbage := make([]byte, r.IntN(3000))
			for i := range garbage {
				garbage[i] = byte(0x80 + r.UintN(128))
			}
			stream = append(append(stream, garbage...), '\n')
		case 1:
			stream = append(append(stream, line[:1+r.IntN(len(line)-2)]...), '\n')
		}
		good := goodFrame(t, sensor.SenMLLine, r)
		stream = append(stream, good...)
		want = append(want, hex.EncodeToString(good[:len(good)-1]))
	}
	requireFrames(t, want, feedRandomly(t, sensor.SenMLLine, stream, r))
}

// Two flipped bits in one frame cancel in a sum if they have the same weight and
// opposite directions, in an XOR if they have the same weight. Of two random bits
// one in eight pairs has the same weight, so at most 1/8 of such frames may pass.
// This is the checksums' weakness, not the decoder's; the test keeps the figure
// honest.
func TestTwoFlippedBits(t *testing.T) {
	const frames = 5_000
	for _, m := range encodable() {
		if m == sensor.SenMLLine {
			continue
		}
		r := rand.New(rand.NewPCG(2, 2))
		var stream []byte
		for range frames {
			stream = append(stream, flip(goodFrame(t, m, r), r, 2)...)
		}
		passed := float64(len(feedRandomly(t, m, stream, r))) / frames
		t.Logf("%s: %.1f %% of frames with two flipped bits pass", m, 100*passed)
		require.Less(t, passed, 1.0/8, m)
	}
}

func TestNoAllocations(t *testing.T) {
	for _, m := range encodable() {
		stream := benchStream(t, m)
		for _, size := range []int{1, 7, 4096} {
			dec, err := sensor.NewDecoder(m)
			require.NoError(t, err)
			frames := 0
			emit := func(*sensor.Frame) { frames++ }
			allocs := testing.AllocsPerRun(3, func() {
				for p := stream; len(p) > 0; {
					n := min(size, len(p))
					dec.Feed(p[:n], emit)
					p = p[n:]
				}
				dec.Flush(emit)
			})
			require.NotZero(t, frames)
			if m == sensor.SenMLLine {
				// encoding/json keeps its scanners in a pool, which the race
				// detector empties at random.
				require.Less(t, allocs, 512.0)
				continue
			}
			require.Zero(t, allocs, "%s in pieces of %d", m, size)
		}
	}
}
