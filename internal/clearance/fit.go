package clearance

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"dustlog/internal/words"
)

// model is the decay with its background fitted (p = Cbg, C0−Cbg, λ) or fixed
// (p = C0−Cbg, λ).
type model struct {
	fixed bool
	level float64
}

func (m model) curve(p []float64, t float64, slope []float64) float64 {
	if m.fixed {
		e := math.Exp(-p[1] * t)
		slope[0], slope[1] = e, -p[0]*t*e
		return m.level + p[0]*e
	}
	e := math.Exp(-p[2] * t)
	slope[0], slope[1], slope[2] = 1, e, -p[1]*t*e
	return p[0] + p[1]*e
}

func newModel(o Options) model {
	if o.Fixed == nil {
		return model{}
	}
	return model{fixed: true, level: o.Fixed.Level}
}

// fitOnce fits with the background free or at exactly the fixed level.
func fitOnce(t, c []float64, o Options) (Fit, error) {
	r, s, err := solve(t, c, o)
	if err != nil {
		return Fit{}, err
	}
	return r.fit(s)
}

// solve finds the curve.
func solve(t, c []float64, o Options) (*reweighting, solution, error) {
	m := newModel(o)
	start, err := m.start(t, c)
	if err != nil {
		return nil, solution{}, err
	}
	unit := make([]float64, len(start))
	for j := range unit {
		unit[j] = math.Abs(start[j])
	}
	if !m.fixed {
		unit[0] = unit[1] // a background near zero has no size of its own
	}
	r := &reweighting{m: m, t: t, c: c, o: o, unit: unit}
	s, err := r.run(start)
	if err != nil {
		return nil, solution{}, err
	}
	if n := len(s.p); !(s.p[n-2] > 0 && s.p[n-1] > 0) {
		return nil, solution{}, &noRate{noFallingCurve(), ErrNoFall}
	}
	return r, s, nil
}

// start finds the best of a row of rates: for each, the rest is linear. It spans
// what a record of length T can show, 0.05/T to 100/T.
func (m model) start(t, c []float64) ([]float64, error) {
	if lowest, highest := slices.Min(c), slices.Max(c); !(highest-lowest > 1e-9*math.Abs(highest)) {
		return nil, &noRate{words.Of("the values do not differ"), ErrNoFall}
	}
	const steps = 80
	length := t[len(t)-1]
	var best []float64
	least := math.Inf(1)
	for k := range steps {
		lambda := 0.05 / length * math.Pow(2000, float64(k)/(steps-1))
		background, excess := m.linear(t, c, lambda)
		var rss float64
		for i := range t {
			r := c[i] - background - excess*math.Exp(-lambda*t[i])
			rss += r * r
		}
		if excess > 0 && rss < least {
			least = rss
			best = []float64{background, excess, lambda}
		}
	}
	if best == nil {
		return nil, &noRate{words.Of("the level does not go down"), ErrNoFall}
	}
	if m.fixed {
		return best[1:], nil
	}
	return best, nil
}

// linear is the least squares background and excess at a given rate.
func (m model) linear(t, c []float64, lambda float64) (background, excess float64) {
	var se, see, sc, sec float64
	n := float64(len(t))
	for i := range t {
		e := math.Exp(-lambda * t[i])
		se, see, sc, sec = se+e, see+e*e, sc+c[i], sec+e*c[i]
	}
	if m.fixed {
		return m.level, (sec - m.level*se) / see
	}
	det := n*see - se*se
	return (see*sc - se*sec) / det, (n*sec - se*sc) / det
}

// fit turns the solution into a Fit without limits.
func (r *reweighting) fit(s solution) (Fit, error) {
	n, params := len(r.t), len(s.p)
	excess, lambda := s.p[params-2], s.p[params-1]
	f := Fit{
		PerHour: lambda, Background: r.m.level, Fixed: r.m.fixed, N: n,
		Hours: r.t[n-1], WeighedDown: r.weighedDown,
	}
	if !r.m.fixed {
		f.Background = s.p[0]
	}
	f.C0 = f.Background + excess
	f.NEff = effective(r.clipped())
	f.DF = f.NEff - float64(params)
	if f.DF < 1 {
		return Fit{}, &noRate{words.Of("its residuals hang together so that %d means are worth %.1f, it does not follow one exponential", n, f.NEff), ErrTooFew}
	}
	variance := r.variance(s)
	f.Scatter = math.Sqrt(variance)
	f.SE = math.Sqrt(variance * s.inverse.At(params-1, params-1))
	f.cov = mat.NewSymDense(3, nil)
	inflate, shift := variance*float64(n)/f.NEff, 3-params
	for a := range params {
		for b := a; b < params; b++ {
			f.cov.SetSym(a+shift, b+shift, s.inverse.At(a, b)*inflate)
		}
	}
	return f, nil
}

// effective is how many independent values residuals in order are worth:
//
//	n_eff = n·(1 − ρ)/(1 + ρ)
//
// for first-order autocorrelation ρ, at most n. The estimate of ρ is too low by
// about (1 + 4ρ)/n (Marriott & Pope 1954, Biometrika 41:390), which is put back.
func effective(residuals []float64) float64 {
	n := float64(len(residuals))
	var mean, g0, g1 float64
	for _, r := range residuals {
		mean += r / n
	}
	for i, r := range residuals {
		g0 += (r - mean) * (r - mean)
		if i > 0 {
			g1 += (r - mean) * (residuals[i-1] - mean)
		}
	}
	if !(g0 > 0) {
		return n
	}
	rho := g1 / g0
	rho = min(rho+(1+4*rho)/n, 0.99)
	if rho <= 0 {
		return n
	}
	return n * (1 - rho) / (1 + rho)
}
