package efficiency

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Errors of the statistics.
var (
	// ErrTooFew: fewer runs or particles than the formula needs.
	ErrTooFew = errors.New("too few values")
	// ErrBadInput: a value that is no number, or below what it can be.
	ErrBadInput = errors.New("cannot be used")
)

// Penetration is P with its 95 % limits.
type Penetration struct{ P, Low, High float64 }

// Counted is what one side counted: whole particles in a volume of air in cm³.
type Counted struct {
	N      int64
	Volume float64
}

func (c Counted) check(side string) error {
	if c.N < 0 || !(c.Volume > 0) || !finite(c.Volume) {
		return fmt.Errorf("%d particles %s in %g cm³: %w", c.N, side, c.Volume, ErrBadInput)
	}
	return nil
}

// FromCounts is the penetration of one run and its exact conditional limits: given
// the sum of both counts, Ndown is binomial with share π, whose limits are those of
// Clopper & Pearson 1934 (Biometrika 26:404):
//
//	P = π/(1 − π)·Vup/Vdown
//
// Nothing counted before the filter gives an infinite P. Errors wrap ErrBadInput,
// or ErrTooFew where nothing was counted at all.
func FromCounts(down, up Counted) (Penetration, error) {
	if err := errors.Join(down.check("behind"), up.check("before")); err != nil {
		return Penetration{}, err
	}
	if down.N+up.N == 0 {
		return Penetration{}, fmt.Errorf("no particle counted: %w", ErrTooFew)
	}
	d, u := float64(down.N), float64(up.N)
	ratio := up.Volume / down.Volume
	p := Penetration{P: d / u * ratio, High: math.Inf(1)}
	if down.N > 0 {
		share := distuv.Beta{Alpha: d, Beta: u + 1}.Quantile(0.025)
		p.Low = share / (1 - share) * ratio
	}
	if up.N > 0 {
		share := distuv.Beta{Alpha: d + 1, Beta: u}.Quantile(0.975)
		p.High = share / (1 - share) * ratio
	}
	return p, nil
}

// UpperCount is the one-sided upper limit of a Poisson mean of which count were
// seen: the quantile of a gamma distribution of shape count + 1 (Garwood 1936,
// Biometrika 28:437). For none seen and 95 % it is −ln 0.05 = 3.0.
func UpperCount(count int64, confidence float64) float64 {
	return mathext.GammaIncRegInv(float64(count)+1, confidence)
}

// lowerCount is the lower limit; 0 for none seen.
func lowerCount(count int64, confidence float64) float64 {
	if count == 0 {
		return 0
	}
	return mathext.GammaIncRegInv(float64(count), 1-confidence)
}

// NetOfZero is FromCounts less what the sensors count in air without particles:
// zeroDown and zeroUp are the counts expected of that in the same volumes. With
// none it is FromCounts; else the limits put the lowest of one side against the
// highest of the other (Garwood, 97.5 % each), which is wider than 95 %.
func NetOfZero(down, up Counted, zeroDown, zeroUp float64) (Penetration, error) {
	if zeroDown < 0 || zeroUp < 0 || !finite(zeroDown) || !finite(zeroUp) {
		return Penetration{}, fmt.Errorf("zero counts of %g and %g: %w", zeroDown, zeroUp, ErrBadInput)
	}
	p, err := FromCounts(down, up)
	if err != nil || (zeroDown == 0 && zeroUp == 0) {
		return p, err
	}
	ratio := up.Volume / down.Volume
	net := func(x, zero float64) float64 { return max(x-zero, 0) }
	before := net(float64(up.N), zeroUp)
	if !(before > 0) {
		return Penetration{}, fmt.Errorf("no more particles before the filter than in clean air: %w", ErrTooFew)
	}
	p.P = net(float64(down.N), zeroDown) / before * ratio
	p.Low = net(lowerCount(down.N, 0.975), zeroDown) / net(UpperCount(up.N, 0.975), zeroUp) * ratio
	p.High = net(UpperCount(down.N, 0.975), zeroDown) / net(lowerCount(up.N, 0.975), zeroUp) * ratio
	return p, nil
}

// AtMost is the highest penetration that counting next to nothing behind the
// filter leaves possible, one-sided 95 %: the upper limit of the net count behind
// over the net count before, which is large enough to be taken as known.
func AtMost(down, up Counted, zeroDown, zeroUp float64) (float64, error) {
	if err := errors.Join(down.check("behind"), up.check("before")); err != nil {
		return 0, err
	}
	before := float64(up.N) - zeroUp
	if !(before > 0) {
		return 0, fmt.Errorf("no particle before the filter: %w", ErrTooFew)
	}
	return max(UpperCount(down.N, 0.95)-zeroDown, UpperCount(0, 0.95)) / before * up.Volume / down.Volume, nil
}

func finite(x float64) bool { return x-x == 0 }

// ptr returns nil for what is not a number, so that JSON says null.
func ptr(x float64) *float64 {
	if !finite(x) {
		return nil
	}
	return &x
}
