package plots

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/dust"
)

// randomSamples makes n samples with gaps of every length and single peaks.
func randomSamples(rnd *rand.Rand, n int) []sample {
	out := make([]sample, n)
	ms := int64(0)
	for i := range out {
		joined := i > 0 && rnd.Float64() > 0.05
		ms += 1 + rnd.Int64N(40)
		if !joined {
			ms += rnd.Int64N(3000)
		}
		v := math.Exp(rnd.NormFloat64())
		if rnd.Float64() < 0.01 {
			v *= 1000
		}
		out[i] = sample{ms: ms, v: v, joined: joined}
	}
	return out
}

func identity(v float64) vg.Length { return vg.Length(v) }

// corners are all points of a curve.
func (c curve) corners() []vg.Point { return append(slices.Concat(c.paths...), c.dots...) }

// Property: in every column the highest and the lowest value that went in come
// out, and nothing else is invented.
func TestReduceKeepsEveryPeak(t *testing.T) {
	for seed := range uint64(300) {
		rnd := rand.New(rand.NewPCG(seed, 7))
		samples := randomSamples(rnd, 1+rnd.IntN(3000))
		perPoint := math.Exp(rnd.Float64() * 6) // from sparse to 400 ms a point
		x := func(ms int64) vg.Length { return vg.Length(float64(ms) / perPoint) }
		c := reduce(slices.Values(samples), x, identity, 0.75)

		type ends struct{ low, high float64 }
		in, out := map[int]ends{}, map[int]ends{}
		known := map[float64]bool{}
		note := func(m map[int]ends, px vg.Length, v float64) {
			k := int(px / 0.75)
			e, ok := m[k]
			if !ok {
				e = ends{v, v}
			}
			m[k] = ends{math.Min(e.low, v), math.Max(e.high, v)}
		}
		for _, s := range samples {
			note(in, x(s.ms), s.v)
			known[s.v] = true
		}
		for _, p := range c.corners() {
			note(out, p.X, float64(p.Y))
			require.True(t, known[float64(p.Y)])
		}
		require.Equal(t, in, out, "seed %d", seed)
		// Four corners a column, and a column broken by a gap has at most one more.
		require.LessOrEqual(t, len(c.corners()), 5*len(in))
	}
}

// Property: no line spans a gap. A line from a to b in time needs every sample
// after a, up to b, to be joined to the one before it.
func TestReduceCrossesNoGap(t *testing.T) {
	for seed := range uint64(300) {
		rnd := rand.New(rand.NewPCG(seed, 8))
		samples := randomSamples(rnd, 1+rnd.IntN(2000))
		perPoint := math.Exp(rnd.Float64() * 6)
		index := map[vg.Length]int{}
		x := func(ms int64) vg.Length { return vg.Length(float64(ms) / perPoint) }
		for i, s := range samples {
			index[x(s.ms)] = i
		}
		for _, path := range reduce(slices.Values(samples), x, identity, 0.75).paths {
			for i := 1; i < len(path); i++ {
				a, okA := index[path[i-1].X]
				b, okB := index[path[i].X]
				require.True(t, okA && okB && a <= b)
				for k := a + 1; k <= b; k++ {
					require.True(t, samples[k].joined, "seed %d: line from sample %d to %d crosses the gap before %d", seed, a, b, k)
				}
			}
		}
	}
}

// A series' own gaps, too, and the time of unusable readings: in the finished
// picture no line lies across the minute that is missing.
func TestShiftTraceCrossesNoGap(t *testing.T) {
	s := dust.NewSeries(dust.Sensor{Name: "x"}, dust.PM25)
	minute := func(m float64) time.Time { return day.Add(time.Duration(m * float64(time.Minute))) }
	for sec := range 600 {
		at := day.Add(time.Duration(sec) * time.Second)
		var f dust.Flags
		switch m := sec / 60; {
		case m == 3:
			continue // nothing sent
		case m == 6:
			f = dust.Stuck
		}
		require.NoError(t, s.Append(at, 50+float64(sec%7), f))
	}
	mean := []MeanPoint{{At: minute(1), MgM3: 0.05}, {At: minute(2), MgM3: 0.05}, {At: minute(3), MgM3: 0.05}, {At: minute(7.5), MgM3: 0.05}, {At: minute(8.5), MgM3: 0.05}}
	r := recordTrace(t, TraceData{Series: s, Mean15: mean}, Options{})
	x0, x1 := baseLine(r)
	place := func(m float64) vg.Length { return x0 + vg.Length(m/(600+4)*60)*(x1-x0) } // the last reading holds 5 s
	lines := 0
	th := themes[Light]
	for _, path := range append(r.of(th.readingLine()), r.of(th.meanLine())...) {
		for i := 1; i < len(path.points); i++ {
			if path.starts[i] {
				continue
			}
			lines++
			for _, gap := range []float64{3.5, 6.5} {
				p := place(gap)
				require.False(t, path.points[i-1].X < p && path.points[i].X > p, "a line spans minute %g", gap)
			}
		}
	}
	require.Greater(t, lines, 400)
}

// baseLine is where the data area begins and ends.
func baseLine(r recorded) (x0, x1 vg.Length) {
	base := r.of(draw.LineStyle{Color: themes[Light].muted, Width: 0.8})
	return base[0].points[0].X, base[0].points[1].X
}

// One reading of 900 among 300 000 of about 10 is 90 % of the picture's height
// above the others.
func TestLonePeakOfAWeekIsSeen(t *testing.T) {
	d := madeUpWeek(2 * time.Second)
	ms, v, f := d.Series.Columns()
	s := dust.NewSeries(d.Series.Sensor, dust.PM25)
	for i := range ms {
		x := v[i]
		if i == 123456 {
			x = 900
		}
		require.NoError(t, s.Append(time.UnixMilli(ms[i]), x, f[i]))
	}
	low, high := vg.Length(math.Inf(1)), vg.Length(math.Inf(-1))
	for _, path := range recordTrace(t, TraceData{Series: s}, Options{}).of(themes[Light].readingLine()) {
		for _, p := range path.points {
			low, high = min(low, p.Y), max(high, p.Y)
		}
	}
	require.Greater(t, high-low, vg.Length(0.85*tracePanel))
}
