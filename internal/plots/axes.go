package plots

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/words"
)

// setLinear lets a cover lo…hi, widened to whole steps, with about n ticks.
// gonum's own ticks stay within the data and count at most a few.
func (o Options) setLinear(a *plot.Axis, lo, hi float64, n int) {
	if !(hi > lo) || math.IsInf(hi-lo, 0) {
		hi = lo + math.Max(1, math.Abs(lo)*0.1)
	}
	step := niceStep((hi - lo) / float64(max(n, 1)))
	first, last := math.Floor(lo/step+1e-9), math.Ceil(hi/step-1e-9)
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	if s := step * math.Pow10(decimals); math.Abs(s-math.Round(s)) > 1e-6 {
		decimals++ // a step of 2.5
	}
	var ticks plot.ConstantTicks
	for k := first; k <= last; k++ {
		ticks = append(ticks, plot.Tick{Value: k * step, Label: o.Words.Number(grouped(strconv.FormatFloat(k*step, 'f', decimals, 64)))})
	}
	a.Min, a.Max, a.Scale, a.Tick.Marker = first*step, last*step, plot.LinearScale{}, ticks
}

// niceStep is the least of 1, 2, 2.5, 5 times a power of ten that is at least x.
func niceStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 2.5, 5} {
		if m*power >= x*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// setLog lets a cover lo…hi (both above zero) with a little room at both ends.
func setLog(a *plot.Axis, lo, hi float64, ticks plot.Ticker) {
	lo, hi = math.Max(lo, 1e-12), math.Min(hi, 1e15)
	if hi < lo*1.6 {
		mid := math.Sqrt(lo * math.Max(hi, lo))
		lo, hi = mid/1.4, mid*1.4
	}
	room := math.Pow(hi/lo, 0.06)
	a.Min, a.Max, a.Scale, a.Tick.Marker = lo/room, hi*room, plot.LogScale{}, ticks
}

// mantissas are the ticks within a decade, from close to sparse.
var mantissas = [][]float64{
	{1, 1.2, 1.4, 1.6, 1.8, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9}, {1, 1.5, 2, 3, 4, 5, 6, 8},
	{1, 2, 3, 5}, {1, 2, 5}, {1, 3}, {1},
}

// logTicks marks as many round values as are allowed and have room. gonum's own
// LogTicks label whole decades only, of which there may be none.
type logTicks struct {
	most  int // 0 for any number
	width vg.Length
	sty   text.Style
	words *words.Printer
}

// Ticks implements plot.Ticker.
func (t logTicks) Ticks(lo, hi float64) []plot.Tick {
	norm := func(v float64) float64 { return plot.LogScale{}.Normalize(lo, hi, v) }
	var ticks []plot.Tick
	for k := range 40 {
		set, every := mantissas[min(k, len(mantissas)-1)], max(1, k-len(mantissas)+2)
		ticks = t.decades(lo, hi, set, every)
		tooMany := t.most > 0 && len(ticks) > t.most
		if !tooMany && (t.width == 0 || len(apart(ticks, norm, t.width, 11, t.sty)) == len(ticks)) {
			break
		}
	}
	return ticks
}

func (t logTicks) decades(lo, hi float64, set []float64, every int) []plot.Tick {
	var ticks []plot.Tick
	for e := int(math.Floor(math.Log10(lo))); e <= int(math.Ceil(math.Log10(hi))); e++ {
		if e%every != 0 {
			continue
		}
		for _, m := range set {
			if v := m * math.Pow10(e); v >= lo && v <= hi {
				ticks = append(ticks, plot.Tick{Value: v, Label: t.words.Number(number(v))})
			}
		}
	}
	return ticks
}

// apart leaves out ticks along an axis of the width given whose labels would
// come closer than gap to the one before, or stand out too far on the left.
// (gonum makes room on the right.)
func apart(ticks []plot.Tick, norm func(float64) float64, width, gap vg.Length, sty text.Style) []plot.Tick {
	const room = 13
	end := -room - gap
	var out []plot.Tick
	for _, t := range ticks {
		at, w := vg.Length(norm(t.Value))*width, sty.Width(t.Label)
		if at-w/2 >= end+gap {
			out, end = append(out, t), at+w/2
		}
	}
	return out
}
