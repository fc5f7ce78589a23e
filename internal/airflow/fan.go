package airflow

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"

	"dustlog/internal/units"
)

// ErrBeyondCurve is returned where a fan curve's points do not reach.
var ErrBeyondCurve = errors.New("outside of the fan curve's points")

// FanPoint is one point of a fan's curve.
type FanPoint struct {
	Flow   units.Flow     `json:"flow"`
	Static units.Pressure `json:"static_pressure"`
}

// FanCurve is the static pressure that a fan makes at each flow, through its maker's
// points by a cubic that never overshoots between them (Fritsch and Butland 1984,
// SIAM J. Sci. Stat. Comput. 5:300, as gonum has it).
type FanCurve struct {
	points []FanPoint
	fit    interp.FritschButland
}

// NewFanCurve takes two points or more in any order. The error wraps ErrInput.
func NewFanCurve(points []FanPoint) (*FanCurve, error) {
	c := &FanCurve{points: slices.Clone(points)}
	slices.SortFunc(c.points, func(a, b FanPoint) int { return compareFloat(a.Flow, b.Flow) })
	if len(points) < 2 {
		return nil, fmt.Errorf("fan curve of %d point(s) %w: it takes two or more", len(points), ErrInput)
	}
	var q, p []float64
	for i, x := range c.points {
		if !(x.Flow >= 0 && x.Static >= 0) || math.IsInf(float64(x.Flow), 0) || math.IsInf(float64(x.Static), 0) {
			return nil, fmt.Errorf("fan curve %w: the point %s, %s lies below zero", ErrInput, x.Flow, x.Static)
		}
		if i > 0 && x.Flow == c.points[i-1].Flow {
			return nil, fmt.Errorf("fan curve %w: two points at %s", ErrInput, x.Flow)
		}
		q, p = append(q, float64(x.Flow)), append(p, float64(x.Static))
	}
	if err := c.fit.Fit(q, p); err != nil {
		return nil, fmt.Errorf("fan curve %w: %w", ErrInput, err)
	}
	return c, nil
}

func compareFloat[T ~float64](a, b T) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// Points are those it was made of, by flow.
func (c *FanCurve) Points() []FanPoint { return c.points }

// Span is the range of flow that the points cover.
func (c *FanCurve) Span() (low, high units.Flow) {
	return c.points[0].Flow, c.points[len(c.points)-1].Flow
}

// Static is the pressure at a flow. The error wraps ErrBeyondCurve.
func (c *FanCurve) Static(q units.Flow) (units.Pressure, error) {
	if low, high := c.Span(); !(q >= low && q <= high) {
		return 0, fmt.Errorf("static pressure at %s: %w, which run from %s to %s", q, ErrBeyondCurve, low, high)
	}
	return units.Pressure(c.fit.Predict(float64(q))), nil
}

// drawn are points along the curve, its own among them.
func (c *FanCurve) drawn() []FanPoint {
	const between = 12
	list := []FanPoint{c.points[0]}
	for i, p := range c.points[1:] {
		from := c.points[i].Flow
		for k := 1; k < between; k++ {
			q := from + (p.Flow-from)*units.Flow(k)/between
			list = append(list, FanPoint{Flow: q, Static: units.Pressure(c.fit.Predict(float64(q)))})
		}
		list = append(list, p)
	}
	return list
}

// Operating is where a fan and a system agree.
type Operating struct {
	Flow     units.Flow     `json:"flow"`
	Static   units.Pressure `json:"static_pressure"`
	Unstable bool           `json:"unstable"` // the curves cross more than once
}

// Operating finds the point where the fan's pressure is the system's, k·Q², k in
// Pa/(m³/s)². Where they cross more than once, the largest flow is given and
// Unstable set: the fan may hunt between them. The error wraps ErrInput or
// ErrBeyondCurve.
func (c *FanCurve) Operating(k float64) (Operating, error) {
	if !(k > 0) || math.IsInf(k, 0) {
		return Operating{}, fmt.Errorf("operating point of a system of k = %g %w", k, ErrInput)
	}
	excess := func(q float64) float64 { return c.fit.Predict(q) - k*q*q }
	roots := c.crossings(excess)
	if len(roots) == 0 {
		low, high := c.Span()
		if excess(float64(high)) > 0 {
			return Operating{}, fmt.Errorf("operating point: %w: the system lets more than %s through", ErrBeyondCurve, high)
		}
		return Operating{}, fmt.Errorf("operating point: %w: the system lets less than %s through", ErrBeyondCurve, low)
	}
	q := roots[len(roots)-1]
	return Operating{Flow: units.Flow(q), Static: units.Pressure(k * q * q), Unstable: len(roots) > 1}, nil
}

// flowsAt are the flows at which the fan makes a pressure.
func (c *FanCurve) flowsAt(p units.Pressure) []float64 {
	return c.crossings(func(q float64) float64 { return c.fit.Predict(q) - float64(p) })
}

// crossings lists where f changes its sign along the curve, between neighbours of a
// fine grid that has the points in it.
func (c *FanCurve) crossings(f func(float64) float64) (roots []float64) {
	const steps = 64 // between two points
	add := func(q float64) {
		if n := len(roots); n == 0 || q > roots[n-1]*(1+1e-12) {
			roots = append(roots, q)
		}
	}
	for i := 1; i < len(c.points); i++ {
		from, to := float64(c.points[i-1].Flow), float64(c.points[i].Flow)
		a := from
		for j := 1; j <= steps; j++ {
			b := from + (to-from)*float64(j)/steps
			fa, fb := f(a), f(b)
			switch {
			case fa == 0:
				add(a)
			case fa*fb < 0:
				add(bisect(f, a, b))
			}
			a = b
		}
		if i == len(c.points)-1 && f(to) == 0 {
			add(to)
		}
	}
	return roots
}

// bisect halves [a, b], at whose ends f has different signs, until it has no more digits.
func bisect(f func(float64) float64, a, b float64) float64 {
	below := f(a) < 0
	for range 200 {
		m := (a + b) / 2
		if m == a || m == b {
			break
		}
		if f(m) < 0 == below {
			a = m
		} else {
			b = m
		}
	}
	return (a + b) / 2
}
