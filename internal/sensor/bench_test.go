package sensor_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// benchStream is frames of model m with values that change from frame to frame.
func benchStream(tb testing.TB, m sensor.Model) []byte {
	tb.Helper()
	var stream []byte
	for i := range 512 {
		var v dust.Values
		for c := range dust.ChannelCount {
			v.Set(c, float64(400-int(c)*3+i%37))
		}
		var err error
		stream, err = sensor.AppendFrame(stream, m, v)
		require.NoError(tb, err)
	}
	return stream
}

func BenchmarkFeed(b *testing.B) {
	for _, m := range encodable() {
		stream := benchStream(b, m)
		for _, chunk := range []struct {
			name string
			size int
		}{{"4KiB", 4096}, {"7B", 7}} {
			b.Run(string(m)+"/"+chunk.name, func(b *testing.B) {
				dec, err := sensor.NewDecoder(m)
				require.NoError(b, err)
				b.SetBytes(int64(len(stream)))
				b.ReportAllocs()
				sum := 0.0
				emit := func(f *sensor.Frame) { x, _ := f.Values.Get(dust.PM25); sum += x }
				for b.Loop() {
					for p := stream; len(p) > 0; {
						n := min(chunk.size, len(p))
						dec.Feed(p[:n], emit)
						p = p[n:]
					}
				}
				b.ReportMetric(float64(dec.Counts().Frames)/float64(b.N)/512, "frames/sent")
			})
		}
	}
}
