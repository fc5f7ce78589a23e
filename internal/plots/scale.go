package plots

import (
	"math"
	"strconv"
	"strings"
)

// scale turns values into places between p0 and p1.
type scale struct {
	lo, hi float64
	p0, p1 float64
	log    bool
}

// pos places v. Values outside the scale are placed outside.
func (s scale) pos(v float64) float64 {
	lo, hi := s.lo, s.hi
	if s.log {
		lo, hi, v = math.Log(lo), math.Log(hi), math.Log(v)
	}
	return s.p0 + (v-lo)/(hi-lo)*(s.p1-s.p0)
}

// tick is a marked value of an axis.
type tick struct {
	value float64
	label string
}

// linearScale covers lo…hi, widened to whole steps, with about n ticks.
func linearScale(lo, hi float64, n int) (scale, []tick) {
	if !(hi > lo) || math.IsInf(hi-lo, 0) {
		hi = lo + math.Max(1, math.Abs(lo)*0.1)
	}
	step := niceStep((hi - lo) / float64(max(n, 1)))
	first, last := math.Floor(lo/step+1e-9), math.Ceil(hi/step-1e-9)
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	if s := step * math.Pow10(decimals); math.Abs(s-math.Round(s)) > 1e-6 {
		decimals++ // a step of 2.5
	}
	var ticks []tick
	for k := first; k <= last; k++ {
		ticks = append(ticks, tick{k * step, grouped(strconv.FormatFloat(k*step, 'f', decimals, 64))})
	}
	return scale{lo: first * step, hi: last * step}, ticks
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

// mantissas are the ticks within a decade, from close to sparse.
var mantissas = [][]float64{
	{1, 1.2, 1.4, 1.6, 1.8, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9}, {1, 1.5, 2, 3, 4, 5, 6, 8},
	{1, 2, 3, 5}, {1, 2, 5}, {1, 3}, {1},
}

// logScale covers lo…hi (both above zero) with a little room at both ends and
// at most n labelled ticks.
func logScale(lo, hi float64, n int) (scale, []tick) {
	lo, hi = math.Max(lo, 1e-12), math.Min(hi, 1e15)
	if hi < lo*1.6 {
		mid := math.Sqrt(lo * math.Max(hi, lo))
		lo, hi = mid/1.4, mid*1.4
	}
	room := math.Pow(hi/lo, 0.06)
	lo, hi = lo/room, hi*room
	s := scale{lo: lo, hi: hi, log: true}
	var ticks []tick
	for _, set := range mantissas {
		if ticks = logTicks(s, set, 1); len(ticks) <= n {
			return s, ticks
		}
	}
	for every := 2; every < 30 && len(ticks) > n; every++ {
		ticks = logTicks(s, mantissas[len(mantissas)-1], every)
	}
	return s, ticks
}

// across lays a logarithmic scale from x0 to x1 and marks as many ticks as have
// room for their labels side by side.
func (s scale) across(x0, x1 float64) (scale, []tick) {
	s.p0, s.p1 = x0, x1
	for k := 0; k < 40; k++ {
		set, every := mantissas[min(k, len(mantissas)-1)], max(1, k-len(mantissas)+2)
		if ticks := logTicks(s, set, every); s.haveRoom(ticks) {
			return s, ticks
		}
	}
	return s, nil
}

func (s scale) haveRoom(ticks []tick) bool {
	end := math.Inf(-1)
	for _, t := range ticks {
		x, w := s.pos(t.value), textWidth(t.label, textSize, false)
		if x-w/2 < end+11 {
			return false
		}
		end = x + w/2
	}
	return true
}

func logTicks(s scale, set []float64, every int) []tick {
	var ticks []tick
	first, last := int(math.Floor(math.Log10(s.lo))), int(math.Ceil(math.Log10(s.hi)))
	for e := first; e <= last; e++ {
		if e%every != 0 {
			continue
		}
		for _, m := range set {
			if v := m * math.Pow10(e); v >= s.lo && v <= s.hi {
				ticks = append(ticks, tick{v, number(v)})
			}
		}
	}
	return ticks
}

// number prints v with three significant digits, without an exponent.
func number(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	if digits <= 0 {
		unit := math.Pow10(-digits)
		return grouped(strconv.FormatFloat(math.Round(v/unit)*unit, 'f', 0, 64))
	}
	s := strconv.FormatFloat(v, 'f', min(digits, 12), 64)
	return grouped(strings.TrimRight(strings.TrimRight(s, "0"), "."))
}

// ratioNumber prints a ratio with two decimals, with two digits below 0.1.
func ratioNumber(v float64) string {
	switch {
	case v >= 0.1 && v < 10:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v > 0 && v < 0.1:
		digits := 1 - int(math.Floor(math.Log10(v)))
		return strconv.FormatFloat(v, 'f', min(digits, 12), 64)
	}
	return number(v)
}

// grouped puts a narrow space between thousands from 10 000 on and a true minus
// in front of negative numbers.
func grouped(s string) string {
	sign := ""
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		sign, s = "−", rest
	}
	whole, fraction, found := strings.Cut(s, ".")
	if len(whole) > 4 {
		for i := len(whole) - 3; i > 0; i -= 3 {
			whole = whole[:i] + "\u202f" + whole[i:]
		}
	}
	if found {
		whole += "." + fraction
	}
	return sign + whole
}
