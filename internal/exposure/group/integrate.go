package group

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
)

// panelEnds are how far, in ln units, an integrand may fall from its peak to the
// ends of the panels: within one it is smooth, and beyond the last, e^−45 lower,
// nothing is left.
var panelEnds = []float64{0.03, 0.5, 2.2, 6, 13, 25, 45}

const nodesPerPanel = 12

var legendre = sync.OnceValues(func() (x, weight []float64) {
	x, weight = make([]float64, nodesPerPanel), make([]float64, nodesPerPanel)
	quad.Legendre{}.FixedLocations(x, weight, -1, 1)
	return x, weight
})

// logIntegral is ln ∫ e^f(x) dx over [a, b] for an f that rises to one peak and
// falls: Gauss–Legendre in panels around the peak. −Inf if the integral vanishes.
func logIntegral(f func(float64) float64, a, b float64) float64 {
	if !(a < b) {
		return math.Inf(-1)
	}
	peak := highest(f, a, b)
	top := f(peak)
	if math.IsInf(top, -1) {
		return top
	}
	nodes, weights := legendre()
	sum := 0.0
	for _, end := range []float64{a, b} {
		from, step := peak, (end-peak)/256
		for _, drop := range panelEnds {
			to := fallenTo(f, top-drop, from, end, step)
			middle, half := (from+to)/2, math.Abs(to-from)/2
			for i, x := range nodes {
				sum += half * weights[i] * math.Exp(f(middle+half*x)-top)
			}
			if step = (to - from) / 2; to == end {
				break
			}
			from = to
		}
	}
	return top + math.Log(sum)
}

// highest finds the peak of f in [a, b] by golden section.
func highest(f func(float64) float64, a, b float64) float64 {
	const golden = 0.6180339887498949
	left, right := b-golden*(b-a), a+golden*(b-a)
	fLeft, fRight := f(left), f(right)
	for range 28 {
		if fLeft < fRight {
			a, left, fLeft = left, right, fRight
			right = a + golden*(b-a)
			fRight = f(right)
		} else {
			b, right, fRight = right, left, fLeft
			left = b - golden*(b-a)
			fLeft = f(left)
		}
	}
	return (a + b) / 2
}

// fallenTo is about where between from and end f has fallen to a level, or end if
// it has not. step is a first guess of the way. Nothing hangs on the exact place: it
// only parts the panels.
func fallenTo(f func(float64) float64, level, from, end, step float64) float64 {
	above, below := from, end
	for range 100 {
		if math.Abs(step) >= math.Abs(end-from) {
			break
		}
		if f(from+step) < level {
			below = from + step
			break
		}
		above, step = from+step, 2*step
	}
	if below == end && f(end) >= level {
		return end
	}
	for range 50 {
		if math.Abs(below-above) <= 0.1*math.Abs(below-from) {
			break
		}
		if middle := (above + below) / 2; f(middle) >= level {
			above = middle
		} else {
			below = middle
		}
	}
	return below
}

// root is where a rising f crosses zero between lo and hi: the Illinois form of
// the false-position rule (Dowell and Jarratt 1971, BIT 11:168).
func root(f func(float64) float64, lo, hi float64) float64 {
	fLo, fHi := f(lo), f(hi)
	last := math.NaN()
	for range 200 {
		x := lo - fLo*(hi-lo)/(fHi-fLo)
		if !(x > lo && x < hi) {
			x = (lo + hi) / 2
		}
		fx := f(x)
		if fx == 0 || math.Abs(x-last) <= 1e-11*(1+math.Abs(x)) {
			return x
		}
		// An end that stays twice is given half its weight.
		if fx < 0 {
			if last <= lo {
				fHi /= 2
			}
			lo, fLo = x, fx
		} else {
			if last >= hi {
				fLo /= 2
			}
			hi, fHi = x, fx
		}
		last = x
	}
	return (lo + hi) / 2
}

// bracketed widens [x−step, x+step] until a rising f crosses zero in it, and
// returns the crossing; NaN if it finds none.
func bracketed(f func(float64) float64, x, step float64) float64 {
	lo, hi := x-step, x+step
	for i := 0; f(lo) > 0; i++ {
		if step *= 2; i > 200 {
			return math.NaN()
		}
		hi, lo = lo, lo-step
	}
	for i := 0; f(hi) < 0; i++ {
		if step *= 2; i > 200 {
			return math.NaN()
		}
		lo, hi = hi, hi+step
	}
	return root(f, lo, hi)
}
