package plots

import (
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// randomColumns is a day of readings with gaps, flags and single peaks, as whole
// tenths or as floats.
func randomColumns(rnd *rand.Rand, from time.Time, tenths bool) exposure.Columns {
	c := exposure.Columns{Hold: dust.DefaultHold}
	if tenths {
		c.PerUnit = 10
	}
	for ms := from.UnixMilli(); ms < from.Add(20*time.Hour).UnixMilli(); ms += 1 + rnd.Int64N(60_000) {
		v := math.Round(50*math.Exp(rnd.NormFloat64())) / 10
		if rnd.Float64() < 0.01 {
			v *= 100
		}
		var f dust.Flags
		if rnd.Float64() < 0.05 {
			f = dust.WarmUp
		}
		if rnd.Float64() < 0.02 {
			ms += rnd.Int64N(4_000_000)
		}
		c.MS, c.Flags = append(c.MS, ms), append(c.Flags, f)
		if tenths {
			c.Ints = append(c.Ints, int32(math.Round(v*10)))
		} else {
			if rnd.Float64() < 0.01 {
				v = math.NaN()
			}
			c.Floats = append(c.Floats, v)
		}
	}
	return c
}

// valueOf is row i in the channel's unit.
func valueOf(c exposure.Columns, i int) float64 {
	if c.PerUnit > 0 {
		return float64(c.Ints[i]) / float64(c.PerUnit)
	}
	return c.Floats[i]
}

// Property: what an envelope draws has, in every column of a page, the same highest
// and lowest value as all its readings drawn one by one, and counts them all.
func TestEnvelopeKeepsEveryPeak(t *testing.T) {
	for seed := range uint64(60) {
		rnd := rand.New(rand.NewPCG(seed, 11))
		days := 1 + rnd.IntN(4)
		e := NewEnvelope(dust.Sensor{Name: "x"}, dust.PM25, day, day.AddDate(0, 0, days))
		var all []sample
		readings := 0
		for d := range days {
			c := randomColumns(rnd, day.AddDate(0, 0, d), seed%2 == 0)
			require.NoError(t, e.Add(c))
			for i, ms := range c.MS {
				readings++
				if v := valueOf(c, i); !c.Flags[i].Unusable() && v-v == 0 {
					all = append(all, sample{ms: ms, v: v})
				}
			}
		}
		n, usable := e.Readings()
		require.Equal(t, readings, n)
		require.Equal(t, len(all), usable)

		const dots = 400
		type ends struct{ low, high float64 }
		columns := func(list func(func(sample) bool)) map[int64]ends {
			out := map[int64]ends{}
			for s := range list {
				// Whole strips, so that both ways cut time alike.
				k := (s.ms - e.from) / e.width * dots / stripCount
				x, ok := out[k]
				if !ok {
					x = ends{s.v, s.v}
				}
				out[k] = ends{math.Min(x.low, s.v), math.Max(x.high, s.v)}
			}
			return out
		}
		require.Equal(t, columns(yieldAll(all)), columns(e.samples), "seed %d", seed)
		last := int64(math.MinInt64)
		for s := range e.samples {
			require.False(t, s.ms < last && s.joined, "seed %d: a line runs back in time", seed)
			last = s.ms
		}
	}
}

// Property: no line of the picture lies across a time without usable readings that
// is wider than three strips.
func TestEnvelopeCrossesNoGap(t *testing.T) {
	for seed := range uint64(60) {
		rnd := rand.New(rand.NewPCG(seed, 12))
		c := randomColumns(rnd, day, seed%2 == 0)
		e := NewEnvelope(dust.Sensor{Name: "x"}, dust.PM25, day, day.AddDate(0, 0, 1))
		require.NoError(t, e.Add(c))
		var gaps []stretch
		last := int64(-1)
		for i, ms := range c.MS {
			if v := valueOf(c, i); c.Flags[i].Unusable() || v-v != 0 {
				continue
			}
			if last >= 0 && ms-last > max(3*e.width, dust.DefaultHold.Milliseconds()) {
				gaps = append(gaps, stretch{last, ms})
			}
			last = ms
		}
		x := func(ms int64) vg.Length { return vg.Length(ms - e.from) }
		for _, path := range reduce(e.samples, x, identity, 1).paths {
			for i := 1; i < len(path); i++ {
				for _, g := range gaps {
					middle := x((g.from + g.to) / 2)
					require.False(t, path[i-1].X < middle && path[i].X > middle, "seed %d: a line lies across a gap of %d s", seed, (g.to-g.from)/1000)
				}
			}
		}
	}
}

func TestEnvelopeAddsInOrderOnly(t *testing.T) {
	e := NewEnvelope(dust.Sensor{Name: "x"}, dust.PM25, day, day.Add(time.Hour))
	one := exposure.Columns{MS: []int64{day.UnixMilli()}, Floats: []float64{3}, Flags: []dust.Flags{0}}
	require.NoError(t, e.Add(one))
	require.ErrorIs(t, e.Add(one), dust.ErrTimeBackwards)
	before := one
	before.MS = []int64{day.Add(-time.Hour).UnixMilli()}
	require.NoError(t, e.Add(before), "outside the time shown")
	missing := exposure.Columns{MS: []int64{day.UnixMilli() + 1, day.UnixMilli() + 2}, PerUnit: 10, Ints: []int32{70, 50}, Flags: []dust.Flags{0, 0}, Missing: []bool{true, false}}
	require.NoError(t, e.Add(missing))
	low, high, ok := e.bounds()
	require.True(t, ok)
	require.Equal(t, [2]float64{3, 5}, [2]float64{low, high})
	require.ErrorIs(t, Months(io.Discard, nil, Options{}), dust.ErrNoReadings)
}

// 90 days of four sensors at 1 Hz, 31 million readings, to SVG; several sensors at a
// time, as many as there are cores.
func BenchmarkNinetyDaysOfFourSensors(b *testing.B) {
	const days, sensors = 90, 4
	columns := make([][]exposure.Columns, sensors) // each day in memory of its own, as a store gives it
	for k := range sensors {
		one := madeUpDay(day, time.Second, k)
		for d := range days {
			c := exposure.Columns{PerUnit: one.PerUnit, Hold: one.Hold, Ints: slices.Clone(one.Ints), Flags: slices.Clone(one.Flags)}
			for _, ms := range one.MS {
				c.MS = append(c.MS, ms+int64(d)*24*time.Hour.Milliseconds())
			}
			columns[k] = append(columns[k], c)
		}
	}
	readings := 0
	for b.Loop() {
		envelopes := make([]*Envelope, sensors)
		next := make(chan int, sensors)
		for k := range sensors {
			next <- k
		}
		close(next)
		var all sync.WaitGroup
		for range runtime.GOMAXPROCS(0) {
			all.Go(func() {
				for k := range next {
					e := NewEnvelope(dust.Sensor{Name: string(rune('a' + k))}, dust.PM25, day, day.AddDate(0, 0, days))
					for _, c := range columns[k] {
						if err := e.Add(c); err != nil {
							b.Error(err)
						}
					}
					envelopes[k] = e
				}
			})
		}
		all.Wait()
		if err := Months(io.Discard, envelopes, Options{}); err != nil {
			b.Fatal(err)
		}
		readings = 0
		for _, e := range envelopes {
			n, _ := e.Readings()
			readings += n
		}
	}
	b.ReportMetric(float64(readings)/1e6, "Mreadings")
}
