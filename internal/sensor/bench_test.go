package sensor_test

import (
	"fmt"
	"testing"
	"time"

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

// BenchmarkFeed measures frames that are proven and flagged, and the same with
// all channels converted.
func BenchmarkFeed(b *testing.B) {
	sum, seen := 0.0, dust.Flags(0)
	for _, m := range encodable() {
		stream := benchStream(b, m)
		for _, emit := range []struct {
			what string
			take func(*sensor.Frame)
		}{
			{"frames", func(f *sensor.Frame) { seen |= f.Flags }},
			{"values", func(f *sensor.Frame) { x, _ := f.Values().Get(dust.PM25); sum += x }},
		} {
			for _, size := range []int{4096, 7} {
				b.Run(fmt.Sprintf("%s/%s/%dB", m, emit.what, size), func(b *testing.B) {
					benchFeed(b, m, stream, size, emit.take)
				})
			}
		}
	}
}

func benchFeed(b *testing.B, m sensor.Model, stream []byte, size int, emit func(*sensor.Frame)) {
	dec, err := sensor.NewDecoder(m)
	require.NoError(b, err)
	b.SetBytes(int64(len(stream)))
	b.ReportAllocs()
	best := time.Hour
	for b.Loop() {
		began := time.Now()
		for p := stream; len(p) > 0; {
			n := min(size, len(p))
			dec.Feed(p[:n], emit)
			p = p[n:]
		}
		best = min(best, time.Since(began))
	}
	// The best pass is what the code can do; the mean is also what else runs here.
	b.ReportMetric(float64(len(stream))/1e6/best.Seconds(), "best-MB/s")
	b.ReportMetric(float64(dec.Counts().Frames)/float64(b.N)/512, "frames/sent")
}
