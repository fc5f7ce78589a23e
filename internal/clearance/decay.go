package clearance

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/words"
)

// Errors of the fits.
var (
	// ErrTooFew: fewer means or decays than the formula needs.
	ErrTooFew = errors.New("too few values")
	// ErrNoFall: what is to be fitted does not fall towards a background.
	ErrNoFall = errors.New("no fall")
	// ErrNoFit: no curve was found, or the values do not determine one.
	ErrNoFit = errors.New("no fit")
	// ErrBadInput: a value that is no number, times that go backwards, an amount
	// that must be above zero.
	ErrBadInput = errors.New("cannot be used")
)

// Weights says how the scatter of the means grows.
type Weights uint8

// The weights.
const (
	// Proportional: scatter in proportion to the level, weights 1/C².
	Proportional Weights = iota
	// Equal: the same scatter at every level.
	Equal
)

// Background is a level that a decay goes to, known from elsewhere.
type Background struct {
	Level float64    // in the unit of C
	U     float64    // standard uncertainty, same unit
	Kind  words.Text // where it is from, for people
}

// Options choose how a decay is fitted. The zero value is the default.
type Options struct {
	Weights   Weights
	NotRobust bool        // plain weighted least squares, without Huber's weights
	Fixed     *Background // nil: the background is fitted too
}

// Fit is one decay. Concentrations are in the unit of the values fitted.
type Fit struct {
	PerHour   float64 // λ in 1/h
	SE        float64 // standard error of λ as if residuals were independent, 1/h
	Low, High float64 // 95 % confidence limits of λ, autocorrelation reckoned with
	LowOne    float64 // lower limit of λ, one-sided 95 %

	C0         float64
	Background float64
	Fixed      bool // Background was given, not fitted

	N           int     // means fitted
	NEff        float64 // how many independent ones they are worth
	DF          float64 // degrees of freedom of the limits
	Hours       float64 // from the first to the last mean
	Scatter     float64 // of the residuals: a share of the level, or in C's unit with Equal
	WeighedDown int     // means that Huber's weights hold for puffs

	cov *mat.SymDense // of Cbg, C0 − Cbg, λ, everything included
}

// excess is C0 − Cbg.
func (f Fit) excess() float64 { return f.C0 - f.Background }

// HalfLifeMinutes is how long the dust above the background takes to halve: ln 2/λ.
func (f Fit) HalfLifeMinutes() float64 { return halfLife(f.PerHour) }

func halfLife(perHour float64) float64 { return 60 * math.Ln2 / perHour }

// leastMeans is the fewest means a curve is fitted to (our choice: three
// parameters and as many degrees of freedom again, and one).
const leastMeans = 7

// FitDecay fits C(t) = Cbg + (C0 − Cbg)·exp(−λt) to means c at t = hours[i] −
// hours[0]. The limits of λ are λ ± t(0.975, n_eff − p)·SE·√(n/n_eff) with p
// fitted parameters; with a fixed background the change of λ by its uncertainty
// is added. It does not judge whether the record lets one tell; see Judge.
// Errors wrap ErrTooFew, ErrBadInput, ErrNoFall or ErrNoFit.
func FitDecay(hours, c []float64, o Options) (Fit, error) {
	t, err := checkDecay(hours, c)
	if err != nil {
		return Fit{}, err
	}
	f, err := fitOnce(t, c, o)
	if err != nil || o.Fixed == nil || o.Fixed.U <= 0 {
		return f.withLimits(), err
	}
	return f.widen(t, c, o)
}

func checkDecay(hours, c []float64) (t []float64, err error) {
	if len(hours) != len(c) {
		return nil, fmt.Errorf("decay: %d times for %d values: %w", len(hours), len(c), ErrBadInput)
	}
	if len(c) < leastMeans {
		return nil, &noRate{words.Of("%d means, need %d", len(c), leastMeans), ErrTooFew}
	}
	t = make([]float64, len(hours))
	for i := range hours {
		t[i] = hours[i] - hours[0]
		if !finite(t[i]) || !finite(c[i]) {
			return nil, fmt.Errorf("decay: value %d (%g at %g h) is no number: %w", i, c[i], hours[i], ErrBadInput)
		}
		if i > 0 && t[i] <= t[i-1] {
			return nil, fmt.Errorf("decay: time %g h after %g h: %w", hours[i], hours[i-1], ErrBadInput)
		}
	}
	return t, nil
}

func finite(x float64) bool { return x-x == 0 }

// widen adds what the uncertainty of a fixed background does: the covariance
// gains δδᵀ, with δ half the change of the parameters from Cbg − u to Cbg + u.
func (f Fit) widen(t, c []float64, o Options) (Fit, error) {
	var excess, rate [2]float64
	for i, by := range []float64{-o.Fixed.U, o.Fixed.U} {
		other := *o.Fixed
		other.Level += by
		_, s, err := solve(t, c, Options{o.Weights, o.NotRobust, &other})
		if err != nil {
			return Fit{}, &noRate{words.Of("with a background of %.3g, as it may be, there is none: %s", other.Level, reason(err)), err}
		}
		excess[i], rate[i] = s.p[0], s.p[1]
	}
	delta := [3]float64{o.Fixed.U, (excess[1] - excess[0]) / 2, (rate[1] - rate[0]) / 2}
	for a := range 3 {
		for b := a; b < 3; b++ {
			f.cov.SetSym(a, b, f.cov.At(a, b)+delta[a]*delta[b])
		}
	}
	return f.withLimits(), nil
}

// withLimits sets the limits of λ from the covariance.
func (f Fit) withLimits() Fit {
	if f.cov == nil {
		return f
	}
	se := math.Sqrt(f.cov.At(2, 2))
	f.Low, f.High = f.PerHour-tQuantile(0.975, f.DF)*se, f.PerHour+tQuantile(0.975, f.DF)*se
	f.LowOne = f.PerHour - tQuantile(0.95, f.DF)*se
	return f
}

// tQuantile is Student's t; df > 0, 0 < p < 1.
func tQuantile(p, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}
