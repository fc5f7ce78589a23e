package clearance

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// curve is a model y = f(x; p). It returns f and writes ∂f/∂p to slope.
type curve func(p []float64, x float64, slope []float64) float64

// points are what a curve is fitted to; weight nil means equal weights.
type points struct{ x, y, weight []float64 }

func (d points) w(i int) float64 {
	if d.weight == nil {
		return 1
	}
	return d.weight[i]
}

// solution is a least squares fit.
type solution struct {
	p       []float64
	inverse *mat.SymDense // (JᵀWJ)⁻¹, to be multiplied by the residual variance
	rss     float64       // Σ w·(y − f)²
}

// leastSquares minimises Σ w·(y − f(x; p))² by Newton's method with the
// Gauss-Newton matrix JᵀWJ in place of the Hessian. unit is the size of each
// parameter, above zero. Source: Bates & Watts 1988, Nonlinear Regression
// Analysis, 2.2. Errors wrap ErrNoFit.
func leastSquares(f curve, d points, start, unit []float64) (solution, error) {
	m, q := newNewtonModel(f, d, start, unit)
	var size float64
	for i, y := range d.y {
		size += d.w(i) * y * y
	}
	m.norm = 1 / size // so that no threshold depends on the unit of y
	problem := optimize.Problem{Func: m.value, Grad: m.gradient, Hess: m.hessian}
	settings := optimize.Settings{
		MajorIterations: 200,
		Converger:       &optimize.FunctionConverge{Relative: 1e-9, Iterations: 1},
	}
	// Near the minimum its line search ends with an error, for it cannot get
	// lower: the last digits come from plain steps, and they tell if it is one.
	result, err := optimize.Minimize(problem, q, &settings, &optimize.Newton{GradStopThreshold: math.NaN()})
	if result == nil || !m.polish(result.X) {
		if err != nil {
			return solution{}, fmt.Errorf("%w: least squares ended off a minimum (%v)", ErrNoFit, err)
		}
		return solution{}, fmt.Errorf("%w: least squares ended off a minimum", ErrNoFit)
	}
	return m.solution(result.X)
}

// newtonModel is the sum of squares in units of its parameters.
type newtonModel struct {
	f        curve
	d        points
	unit     []float64
	norm     float64   // factor of the sum
	p, slope []float64 // scratch
}

// newNewtonModel returns the model and its parameters p in their units.
func newNewtonModel(f curve, d points, p, unit []float64) (m newtonModel, q []float64) {
	m = newtonModel{f: f, d: d, unit: unit, norm: 1, p: make([]float64, len(p)), slope: make([]float64, len(p))}
	q = make([]float64, len(p))
	for j := range q {
		q[j] = p[j] / unit[j]
	}
	return m, q
}

func (m *newtonModel) at(q []float64) []float64 {
	for j := range q {
		m.p[j] = q[j] * m.unit[j]
	}
	return m.p
}

func (m *newtonModel) value(q []float64) float64 {
	p, sum := m.at(q), 0.0
	for i, x := range m.d.x {
		r := m.d.y[i] - m.f(p, x, m.slope)
		sum += m.d.w(i) * r * r
	}
	if math.IsNaN(sum) {
		return math.Inf(1) // a step out of the model's domain
	}
	return m.norm * sum / 2
}

func (m *newtonModel) gradient(g, q []float64) {
	p := m.at(q)
	clear(g)
	for i, x := range m.d.x {
		r := m.d.y[i] - m.f(p, x, m.slope)
		for j := range g {
			g[j] -= m.norm * m.d.w(i) * r * m.slope[j] * m.unit[j]
		}
	}
}

func (m *newtonModel) hessian(h *mat.SymDense, q []float64) {
	p := m.at(q)
	h.Zero()
	for i, x := range m.d.x {
		m.f(p, x, m.slope)
		for a := range m.slope {
			for b := a; b < len(m.slope); b++ {
				h.SetSym(a, b, h.At(a, b)+m.norm*m.d.w(i)*m.slope[a]*m.unit[a]*m.slope[b]*m.unit[b])
			}
		}
	}
}

// polish takes Gauss-Newton steps from q until they are nothing against the
// parameters or their units, and reports whether they became so.
func (m *newtonModel) polish(q []float64) bool {
	const steps, nothing = 300, 1e-9
	n := len(q)
	h, g := mat.NewSymDense(n, nil), make([]float64, n)
	var chol mat.Cholesky
	var step mat.VecDense
	for range steps {
		m.hessian(h, q)
		m.gradient(g, q)
		if !chol.Factorize(h) || chol.SolveVecTo(&step, mat.NewVecDense(n, g)) != nil {
			return false
		}
		largest := 0.0
		for j := range q {
			largest = max(largest, math.Abs(step.AtVec(j))/max(math.Abs(q[j]), 1))
			q[j] -= step.AtVec(j)
		}
		if largest <= nothing {
			return true
		}
	}
	return false
}

func (m *newtonModel) solution(q []float64) (solution, error) {
	p := append([]float64(nil), m.at(q)...)
	inverse, err := inverseNormal(m.f, m.d, p, m.unit)
	return solution{p: p, inverse: inverse, rss: 2 * m.value(q) / m.norm}, err
}

// inverseNormal is (JᵀWJ)⁻¹ at p.
func inverseNormal(f curve, d points, p, unit []float64) (*mat.SymDense, error) {
	n := len(p)
	m, q := newNewtonModel(f, d, p, unit)
	h, inverse := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	m.hessian(h, q)
	var chol mat.Cholesky
	if !chol.Factorize(h) || chol.InverseTo(inverse) != nil {
		return nil, fmt.Errorf("%w: the values do not determine %d parameters", ErrNoFit, n)
	}
	for a := range n {
		for b := a; b < n; b++ {
			inverse.SetSym(a, b, inverse.At(a, b)*unit[a]*unit[b])
		}
	}
	return inverse, nil
}
