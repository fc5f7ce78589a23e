package airflow

import (
	"fmt"
	"math"
	"slices"

	"dustlog/internal/units"
)

// Ratio says how a fan differs from the one whose curve is known.
type Ratio struct {
	Speed    float64 // revolutions; 0: the same
	Diameter float64 // of the wheel, the fans being alike in shape; 0: the same
	Density  float64 // of the air; 0: the same
}

func (r Ratio) filled() Ratio {
	for _, x := range []*float64{&r.Speed, &r.Diameter, &r.Density} {
		if *x == 0 {
			*x = 1
		}
	}
	return r
}

// The fan laws: Q ~ N·D³, p ~ ρ·N²·D², P ~ ρ·N³·D⁵. [AMCA] 210, [5801], [IV].
func (r Ratio) flow() float64     { r = r.filled(); return r.Speed * math.Pow(r.Diameter, 3) }
func (r Ratio) pressure() float64 { r = r.filled(); return r.Density * math.Pow(r.Speed*r.Diameter, 2) }

// Power is how many times the power at the shaft is.
func (r Ratio) Power() float64 {
	r = r.filled()
	return r.Density * math.Pow(r.Speed, 3) * math.Pow(r.Diameter, 5)
}

// Point carries a point of the curve over by the fan laws.
func (r Ratio) Point(p FanPoint) FanPoint {
	return FanPoint{Flow: p.Flow * units.Flow(r.flow()), Static: p.Static * units.Pressure(r.pressure())}
}

// Scaled is the curve carried over by the fan laws. The error wraps ErrInput.
func (c *FanCurve) Scaled(r Ratio) (*FanCurve, error) {
	if f := r.filled(); !(f.Speed > 0 && f.Diameter > 0 && f.Density > 0) {
		return nil, fmt.Errorf("fan laws with ratios of %g, %g and %g %w: all must be above zero", f.Speed, f.Diameter, f.Density, ErrInput)
	}
	var points []FanPoint
	for _, p := range c.points {
		points = append(points, r.Point(p))
	}
	return NewFanCurve(points)
}

// steps of a combined curve: many enough that its cubic follows both.
const combinedSteps = 48

// InSeries is one fan behind the other: at the same flow their pressures add. It
// covers the flows that both curves do. The error wraps ErrBeyondCurve.
func InSeries(a, b *FanCurve) (*FanCurve, error) {
	low, high := common(a, b)
	if !(high > low) {
		return nil, fmt.Errorf("fans in series: %w: the curves share no flow", ErrBeyondCurve)
	}
	var points []FanPoint
	for i := range combinedSteps + 1 {
		q := low + (high-low)*units.Flow(i)/combinedSteps
		sum := a.fit.Predict(float64(q)) + b.fit.Predict(float64(q))
		points = append(points, FanPoint{q, units.Pressure(max(0, sum))}) // zero may come out a rounding below
	}
	return NewFanCurve(points)
}

func common(a, b *FanCurve) (low, high units.Flow) {
	aLow, aHigh := a.Span()
	bLow, bHigh := b.Span()
	return max(aLow, bLow), min(aHigh, bHigh)
}

// InParallel is two fans side by side: at the same pressure their flows add. It takes
// curves that fall all the way, and covers the pressures that both do: where one
// curve rises the fans may push against each other. The error wraps ErrInput or
// ErrBeyondCurve.
func InParallel(a, b *FanCurve) (*FanCurve, error) {
	least, most := units.Pressure(0), units.Pressure(math.Inf(1))
	for _, c := range []*FanCurve{a, b} {
		for i := 1; i < len(c.points); i++ {
			if c.points[i].Static >= c.points[i-1].Static {
				return nil, fmt.Errorf("fans in parallel %w: a curve does not fall from %s to %s; the fans may push against each other", ErrInput, c.points[i-1].Flow, c.points[i].Flow)
			}
		}
		least, most = max(least, c.points[len(c.points)-1].Static), min(most, c.points[0].Static)
	}
	if !(most > least) {
		return nil, fmt.Errorf("fans in parallel: %w: the curves share no pressure", ErrBeyondCurve)
	}
	// The points of both are kept, so that the sum turns where they do.
	levels := []units.Pressure{least, most}
	for _, c := range []*FanCurve{a, b} {
		for _, p := range c.points {
			levels = append(levels, p.Static)
		}
	}
	for i := 1; i < combinedSteps; i++ {
		levels = append(levels, least+(most-least)*units.Pressure(i)/combinedSteps)
	}
	slices.Sort(levels)
	levels = slices.CompactFunc(levels, func(x, y units.Pressure) bool { return math.Abs(float64(x-y)) < 1e-6 })
	var points []FanPoint
	for _, p := range levels {
		qa, qb := a.flowsAt(p), b.flowsAt(p)
		if p >= least && p <= most && len(qa) == 1 && len(qb) == 1 {
			points = append(points, FanPoint{units.Flow(qa[0] + qb[0]), p})
		}
	}
	return NewFanCurve(points)
}
