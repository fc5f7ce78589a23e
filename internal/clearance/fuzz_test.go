package clearance

import (
	"encoding/binary"
	"math"
	"testing"

	"dustlog/internal/words"
)

// FuzzJudge: whatever the means, there is a rate with limits or a reason, and no panic.
func FuzzJudge(f *testing.F) {
	seed := func(level func(i int) float64) {
		var raw []byte
		for i := range 40 {
			raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(float32(level(i))))
		}
		f.Add(raw, float32(10), float32(2))
	}
	seed(func(i int) float64 { return 10 + 400*math.Exp(-float64(i)/8) })
	seed(func(i int) float64 { return float64(i % 3) })
	seed(func(int) float64 { return 0 })
	seed(func(i int) float64 { return math.Pow(10, float64(i)) })
	f.Fuzz(func(t *testing.T, raw []byte, background, u float32) {
		var hours, c []float64
		for ; len(raw) >= 4 && len(c) < 200; raw = raw[4:] {
			hours = append(hours, float64(len(c))/180)
			c = append(c, float64(math.Float32frombits(binary.LittleEndian.Uint32(raw))))
		}
		fit, why, err := Judge(hours, c, &Background{float64(background), math.Abs(float64(u)), words.Literal("background")}, Options{})
		if err != nil || !why.IsZero() {
			return
		}
		if !(fit.Low > 0 && fit.Low <= fit.PerHour && fit.PerHour <= fit.High && fit.C0 > fit.Background && fit.NEff <= float64(fit.N)) {
			t.Fatalf("%+v", fit)
		}
		if to, err := fit.MinutesTo(fit.Background + (fit.C0-fit.Background)/2); err == nil && !(to.Low <= to.Minutes && to.Minutes <= to.High) {
			t.Fatalf("%+v", to)
		}
	})
}
