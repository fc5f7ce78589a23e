package exposure

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// By hand from the definition of a time-weighted average: minute means of 6, 20
// and 4, five minutes each, give (30+100+20)/15 = 10.
func TestMax15minByHand(t *testing.T) {
	peak, err := Max15min([]dust.Span{span(0, 5, 6), span(5, 10, 20), span(10, 15, 4)}, start, at(15*time.Minute))
	require.NoError(t, err)
	require.InDelta(t, 10, peak.Mean, 1e-12)
	require.Equal(t, start, peak.Start)
	require.Equal(t, 15*time.Minute, peak.Measured)
	require.True(t, peak.Complete)
}

// A rolling window finds a burst across the edges of clock quarters: 10 min at 30
// over a background of 3 give (300+15)/15 = 21 by hand; blocks would give 12.
func TestMax15minRolls(t *testing.T) {
	peak, err := Max15min([]dust.Span{span(0, 40, 3), span(40, 50, 30), span(50, 60, 3)}, start, at(time.Hour))
	require.NoError(t, err)
	require.InDelta(t, 21, peak.Mean, 1e-12)
	// Any window that holds the whole burst is as high.
	require.False(t, peak.Start.After(at(40*time.Minute)))
	require.False(t, peak.Start.Add(15*time.Minute).Before(at(50*time.Minute)))
}

func TestMax15minReasons(t *testing.T) {
	_, err := Max15min([]dust.Span{span(0, 14, 6)}, start, at(15*time.Minute-time.Millisecond))
	require.ErrorIs(t, err, ErrShortShift)
	_, err = Max15min([]dust.Span{span(0, 11, 6)}, start, at(time.Hour))
	require.ErrorIs(t, err, ErrNoFullWindow)
	_, err = Max15min(nil, start, at(time.Hour))
	require.ErrorIs(t, err, ErrNoFullWindow)
	_, err = Max15min(nil, at(time.Hour), start)
	require.ErrorIs(t, err, ErrShortShift)
}

// The highest mean may lie where the window is just 75 % measured, an instant at
// which no span begins or ends at an edge. A burst of 5 min at 100 after 55 min
// of 1, then nothing: by hand the best window ends 3.75 min after the burst, with
// 6.25 min of 1 and 5 min of 100 measured: 506.25/11.25 = 45.
func TestMax15minAtTheEdgeOfCoverage(t *testing.T) {
	peak, err := Max15min([]dust.Span{span(0, 55, 1), span(55, 60, 100)}, start, at(2*time.Hour))
	require.NoError(t, err)
	require.InDelta(t, 45, peak.Mean, 1e-9)
	require.Equal(t, 11*time.Minute+15*time.Second, peak.Measured)
	require.False(t, peak.Complete)
}

// Windows outside the shift do not count.
func TestMax15minStaysInsideTheShift(t *testing.T) {
	spans := []dust.Span{span(-30, -1, 500), span(-1, 60, 2), span(60, 90, 700)}
	peak, err := Max15min(spans, start, at(time.Hour))
	require.NoError(t, err)
	require.InDelta(t, 2, peak.Mean, 1e-9)
}

// Law: a constant stays, gaps or not.
func TestMax15minOfAConstant(t *testing.T) {
	peak, err := Max15min([]dust.Span{span(0, 7, 0.1), span(7, 31, 0.1), span(33, 60, 0.1)}, start, at(time.Hour))
	require.NoError(t, err)
	require.InDelta(t, 0.1, peak.Mean, 1e-15)
}

// Law: scaling by k scales the maximum and does not move it.
func TestMax15minScales(t *testing.T) {
	spans := []dust.Span{span(0, 20, 1), span(20, 27, 9), span(27, 60, 2)}
	one, err := Max15min(spans, start, at(time.Hour))
	require.NoError(t, err)
	for i := range spans {
		spans[i].Value *= 1000
	}
	thousand, err := Max15min(spans, start, at(time.Hour))
	require.NoError(t, err)
	require.InEpsilon(t, 1000*one.Mean, thousand.Mean, 1e-12)
	require.Equal(t, one.Start, thousand.Start)
}

// naiveMax tries every window that ends on a whole step, from one cell per step.
// With spans on whole steps every instant of the definition is among them.
func naiveMax(spans []dust.Span, from, to time.Time, step int64) (best float64, found bool) {
	lo, n := from.UnixMilli(), (to.UnixMilli()-from.UnixMilli())/step
	value, known := make([]float64, n), make([]bool, n)
	for _, p := range spans {
		for c := max(0, (p.From-lo)/step); c < n && lo+c*step < p.To; c++ {
			value[c], known[c] = p.Value, true
		}
	}
	width := int64(15*time.Minute/time.Millisecond) / step
	for end := width; end <= n; end++ {
		sum, count := 0.0, int64(0)
		for c := end - width; c < end; c++ {
			if known[c] {
				sum += value[c]
				count++
			}
		}
		if 4*count >= 3*width && (!found || sum/float64(count) > best) {
			best, found = sum/float64(count), true
		}
	}
	return best, found
}

// randomSpans are readings of 1 to 20 steps with gaps and bursts.
func randomSpans(r *rand.Rand, n int, step int64) []dust.Span {
	var spans []dust.Span
	t, gaps := start.UnixMilli(), r.Float64()*0.2
	for range n {
		if r.Float64() < gaps {
			t += step * int64(1+r.IntN(60))
		}
		p := dust.Span{From: t, To: t + step*int64(1+r.IntN(20)), Value: r.Float64() * 10}
		if r.Float64() < 0.1 {
			p.Value *= 100
		}
		spans = append(spans, p)
		t = p.To
	}
	return spans
}

func TestMax15minAgreesWithTryingEveryWindow(t *testing.T) {
	const step = 5000
	r := rand.New(rand.NewPCG(481, 7708))
	found := 0
	for range 300 {
		spans := randomSpans(r, 20+r.IntN(80), step)
		from := start.Add(time.Duration(r.IntN(60)*step) * time.Millisecond)
		to := from.Add(time.Duration(180+r.IntN(700)) * step * time.Millisecond)
		want, ok := naiveMax(spans, from, to, step)
		got, err := Max15min(spans, from, to)
		require.Equal(t, ok, err == nil)
		if ok {
			found++
			require.InEpsilon(t, want, got.Mean, 1e-9)
		}
	}
	require.Greater(t, found, 100, "too few cases had a window")
}

// The same with odd milliseconds, against every millisecond's window.
func TestMax15minIsExactToTheMillisecond(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 75))
	var spans []dust.Span
	for ms := start.UnixMilli(); ms < at(16*time.Minute).UnixMilli(); {
		next := ms + 900 + int64(r.IntN(30_000))
		spans = append(spans, dust.Span{From: ms, To: next - int64(r.IntN(300)), Value: r.ExpFloat64() * 40})
		ms = next
	}
	dose, known := []float64{0}, []int{0}
	for i, ms := 0, start.UnixMilli(); ms < at(16*time.Minute).UnixMilli(); ms++ {
		for i+1 < len(spans) && spans[i].To <= ms {
			i++
		}
		d, k := dose[len(dose)-1], known[len(known)-1]
		if spans[i].From <= ms && ms < spans[i].To {
			d, k = d+spans[i].Value, k+1
		}
		dose, known = append(dose, d), append(known, k)
	}
	want := 0.0
	for end := 900_000; end < len(dose); end++ {
		if k := known[end] - known[end-900_000]; k >= 675_000 {
			want = max(want, (dose[end]-dose[end-900_000])/float64(k))
		}
	}
	got, err := Max15min(spans, start, at(16*time.Minute))
	require.NoError(t, err)
	require.InEpsilon(t, want, got.Mean, 1e-9)
}

// Law: splitting readings does not matter.
func TestMax15minDoesNotSeeSplits(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	spans := randomSpans(r, 400, 1000)
	var split []dust.Span
	for _, p := range spans {
		cut := p.From + (p.To-p.From)/2
		split = append(split, dust.Span{From: p.From, To: cut, Value: p.Value}, dust.Span{From: cut, To: p.To, Value: p.Value})
	}
	a, err := Max15min(spans, start, at(2*time.Hour))
	require.NoError(t, err)
	b, err := Max15min(split, start, at(2*time.Hour))
	require.NoError(t, err)
	require.InEpsilon(t, a.Mean, b.Mean, 1e-12)
}

func FuzzMax15min(f *testing.F) {
	f.Add([]byte{10, 3, 200, 90, 0, 1, 250, 250, 9, 60, 2, 7}, uint16(300))
	f.Add([]byte{}, uint16(0))
	f.Add([]byte{255, 255, 255, 255, 255, 255}, uint16(900))
	f.Fuzz(func(t *testing.T, data []byte, cells uint16) {
		const step = 5000
		var spans []dust.Span
		ms := start.UnixMilli()
		for chunk := range slices.Chunk(data, 3) {
			if len(chunk) < 3 || len(spans) > 100 {
				break
			}
			ms += step * int64(chunk[0]%64)
			p := dust.Span{From: ms, To: ms + step*int64(1+chunk[1]), Value: float64(chunk[2])}
			spans, ms = append(spans, p), p.To
		}
		to := start.Add(time.Duration(cells%2000) * step * time.Millisecond)
		want, ok := naiveMax(spans, start, to, step)
		got, err := Max15min(spans, start, to)
		require.Equal(t, ok, err == nil)
		if ok {
			require.InDelta(t, want, got.Mean, 1e-9*max(1, want))
		}
	})
}

func BenchmarkMax15min(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 4))
	var spans []dust.Span
	for i := range int64(8 * 3600) {
		ms := start.UnixMilli() + i*1000
		spans = append(spans, dust.Span{From: ms, To: ms + 1000, Value: r.ExpFloat64() * 100})
	}
	for b.Loop() {
		if _, err := Max15min(spans, start, at(8*time.Hour)); err != nil {
			b.Fatal(err)
		}
	}
}
