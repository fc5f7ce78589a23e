package clearance

import (
	"math"
	"slices"
)

// Huber's constant: 95 % as efficient as least squares with normal scatter.
// Source: Huber 1981, Robust Statistics.
const huber = 1.345

// lowestShare bounds the weights 1/C²: below this share of the highest mean the
// scatter is taken not to shrink any further, as that of a sensor that counts in
// whole µg/m³ does not (our choice).
const lowestShare = 0.05

// reweighting fits a curve again and again with the weights that follow from the
// fit before: 1/f² for scatter in proportion to the level, times Huber's weights.
type reweighting struct {
	m    model
	t, c []float64
	o    Options
	unit []float64

	base, weight, residuals []float64 // residuals are in units of the scatter's level
	weighedDown             int
	k                       float64 // Huber's bound on the residuals; 0: none
}

func (r *reweighting) run(start []float64) (solution, error) {
	n := len(r.t)
	r.base, r.weight, r.residuals = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range r.base {
		r.base[i], r.weight[i] = 1, 1
	}
	s, err := leastSquares(r.m.curve, r.points(), start, r.unit)
	if err != nil {
		return s, err
	}
	const rounds, still = 50, 1e-7
	for range rounds {
		r.reweigh(s.p)
		if r.o.Weights == Equal && r.k == 0 {
			break
		}
		before := s.p
		if s, err = leastSquares(r.m.curve, r.points(), before, r.unit); err != nil {
			return s, err
		}
		last := len(s.p) - 1
		if math.Abs(s.p[last]-before[last]) <= still*before[last] {
			break
		}
	}
	r.reweigh(s.p)
	// Huber's weights are for finding the curve; the covariance is of the others.
	s.inverse, err = inverseNormal(r.m.curve, points{r.t, r.c, r.base}, s.p, r.unit)
	return s, err
}

func (r *reweighting) points() points { return points{r.t, r.c, r.weight} }

// reweigh works out residuals and weights from the curve.
func (r *reweighting) reweigh(p []float64) {
	slope := make([]float64, len(p))
	floor := lowestShare * slices.Max(r.c)
	for i := range r.t {
		f := r.m.curve(p, r.t[i], slope)
		if r.o.Weights == Proportional {
			f := max(f, floor)
			r.base[i] = 1 / (f * f)
		}
		r.residuals[i] = (r.c[i] - f) * math.Sqrt(r.base[i])
	}
	r.k = 0
	if !r.o.NotRobust {
		r.k = huber * medianSize(r.residuals) / 0.6745
	}
	r.weighedDown = 0
	for i := range r.weight {
		r.weight[i] = r.base[i]
		if size := math.Abs(r.residuals[i]); r.k > 0 && size > r.k {
			r.weight[i] *= r.k / size
			r.weighedDown++
		}
	}
}

// variance is the residual variance. With Huber's weights it is
//
//	κ²·Σψ²/(n − p)/m²,  κ = 1 + (p/n)·(1 − m)/m
//
// with ψ the residuals cut at ±k and m the share within. Source: Huber 1981,
// Robust Statistics, 7.6.
func (r *reweighting) variance(s solution) float64 {
	n, p := float64(len(r.t)), float64(len(s.p))
	if r.k == 0 {
		var sum float64
		for _, e := range r.residuals {
			sum += e * e
		}
		return sum / (n - p)
	}
	var sum float64
	for _, e := range r.residuals {
		e = min(math.Abs(e), r.k)
		sum += e * e
	}
	m := 1 - float64(r.weighedDown)/n
	kappa := 1 + p/n*(1-m)/m
	return kappa * kappa * sum / (n - p) / (m * m)
}

// clipped are the residuals cut at ±k, where single puffs hide no autocorrelation.
func (r *reweighting) clipped() []float64 {
	if r.k == 0 {
		return r.residuals
	}
	out := make([]float64, len(r.residuals))
	for i, e := range r.residuals {
		out[i] = max(-r.k, min(e, r.k))
	}
	return out
}

func medianSize(x []float64) float64 {
	sizes := make([]float64, len(x))
	for i := range x {
		sizes[i] = math.Abs(x[i])
	}
	slices.Sort(sizes)
	n := len(sizes)
	return (sizes[(n-1)/2] + sizes[n/2]) / 2
}
