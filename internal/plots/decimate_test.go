package plots

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

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

func identity(v float64) float64 { return v }

// corners are all points of a curve.
func (c curve) corners() []point { return append(slices.Concat(c.paths...), c.dots...) }

// Property: in every column the highest and the lowest value that went in come
// out, and nothing else is invented.
func TestReduceKeepsEveryPeak(t *testing.T) {
	for seed := range uint64(300) {
		rnd := rand.New(rand.NewPCG(seed, 7))
		samples := randomSamples(rnd, 1+rnd.IntN(3000))
		perPoint := math.Exp(rnd.Float64() * 6) // from sparse to 400 ms a point
		x := func(ms int64) float64 { return float64(ms) / perPoint }
		c := reduce(slices.Values(samples), x, identity, 0.75)

		type ends struct{ low, high float64 }
		in, out := map[int]ends{}, map[int]ends{}
		known := map[float64]bool{}
		note := func(m map[int]ends, px, v float64) {
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
			note(out, p.x, p.y)
			require.True(t, known[p.y])
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
		index := map[float64]int{}
		x := func(ms int64) float64 { return float64(ms) / perPoint }
		for i, s := range samples {
			index[x(s.ms)] = i
		}
		for _, path := range reduce(slices.Values(samples), x, identity, 0.75).paths {
			for i := 1; i < len(path); i++ {
				a, okA := index[path[i-1].x]
				b, okB := index[path[i].x]
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
	o, err := Options{}.complete()
	require.NoError(t, err)
	tr, err := newTrace(TraceData{Series: s, Mean15: mean}, o)
	require.NoError(t, err)
	d := tr.draw()
	x0, x1 := gapless(d)
	place := func(m float64) float64 { return x0 + m/(600+4)*60*(x1-x0) } // the last reading holds 5 s
	lines := 0
	for _, shape := range d.shapes {
		if shape.role != "reading" && shape.role != "mean" {
			continue
		}
		for _, path := range shape.paths {
			for i := 1; i < len(path); i++ {
				lines++
				for _, gap := range []float64{3.5, 6.5} {
					p := place(gap)
					require.False(t, path[i-1].x < p && path[i].x > p, "%s spans minute %g", shape.role, gap)
				}
			}
		}
	}
	require.Greater(t, lines, 400)
}

// gapless is where the panel begins and ends: its base line.
func gapless(d *drawing) (x0, x1 float64) {
	for _, s := range d.shapes {
		if s.role == "axis" {
			return s.paths[0][0].x, s.paths[0][1].x
		}
	}
	return 0, 0
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
	o, err := Options{}.complete()
	require.NoError(t, err)
	tr, err := newTrace(TraceData{Series: s}, o)
	require.NoError(t, err)
	top, bottom := math.Inf(1), math.Inf(-1)
	for _, shape := range tr.draw().shapes {
		if shape.role == "reading" {
			for _, path := range shape.paths {
				for _, p := range path {
					top, bottom = math.Min(top, p.y), math.Max(bottom, p.y)
				}
			}
		}
	}
	require.Greater(t, bottom-top, 0.85*tracePanel)
}
