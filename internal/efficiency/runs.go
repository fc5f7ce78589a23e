package efficiency

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Run is what one run counted in one size bin; N need not be whole once the zero
// count is taken off.
type Run struct {
	Down, Up             float64 // particles
	VolumeDown, VolumeUp float64 // cm³
}

// leastRuns is the fewest runs that an interval between runs is made of.
const leastRuns = 3

// OfRuns is a penetration over runs, which are the unit.
type OfRuns struct {
	Penetration
	Runs int
	// Do the runs differ by more than counting explains? Q with Runs − 1 degrees of
	// freedom, its p value, and the variance of ln P between runs beyond counting.
	Q, P, Tau2 float64
	// Gain is the ratio of the two sensors, downstream over upstream, where they
	// were exchanged; NaN where not.
	Gain float64
}

// lnP is ln penetration of a run, with half a particle added to each count.
func (r Run) lnP() float64 {
	return math.Log((r.Down+0.5)/r.VolumeDown) - math.Log((r.Up+0.5)/r.VolumeUp)
}

// Between is the penetration over runs: Student's t on ln P with 0.5 added to each
// count. Q and τ² are those of DerSimonian & Laird 1986 (Control. Clin. Trials
// 7:177) with variances 1/(Ndown+0.5) + 1/(Nup+0.5). Errors wrap ErrTooFew (fewer
// than three runs) or ErrBadInput.
func Between(runs []Run) (OfRuns, error) {
	ln := make([]float64, len(runs))
	for i, r := range runs {
		if !(r.Down >= 0 && r.Up >= 0 && r.VolumeDown > 0 && r.VolumeUp > 0) {
			return OfRuns{}, fmt.Errorf("run %d, %+v: %w", i+1, r, ErrBadInput)
		}
		ln[i] = r.lnP()
	}
	out, err := BetweenRatios(ln)
	if err != nil {
		return out, err
	}
	var sw, sw2, swy float64
	for i, r := range runs {
		w := 1 / (1/(r.Down+0.5) + 1/(r.Up+0.5))
		sw, sw2, swy = sw+w, sw2+w*w, swy+w*ln[i]
	}
	out.Q = 0
	for i, r := range runs {
		w := 1 / (1/(r.Down+0.5) + 1/(r.Up+0.5))
		out.Q += w * (ln[i] - swy/sw) * (ln[i] - swy/sw)
	}
	df := float64(len(runs) - 1)
	out.P = distuv.ChiSquared{K: df}.Survival(out.Q)
	out.Tau2 = max(0, (out.Q-df)/(sw-sw2/sw))
	return out, nil
}

// BetweenRatios is Student's t on ln P of the runs, where the counts behind them
// are not known. Q, P and τ² are NaN.
func BetweenRatios(lnP []float64) (OfRuns, error) {
	if len(lnP) < leastRuns {
		return OfRuns{}, fmt.Errorf("%d runs, need %d: %w", len(lnP), leastRuns, ErrTooFew)
	}
	mean, sd := meanSD(lnP)
	if !finite(mean) {
		return OfRuns{}, fmt.Errorf("ln P of the runs is %v: %w", lnP, ErrBadInput)
	}
	n := float64(len(lnP))
	return newOfRuns(mean, sd/math.Sqrt(n), n-1, len(lnP)), nil
}

// Exchanged is the penetration over runs of which some were made with the two
// sensors exchanged. With g the ratio of the sensors,
//
//	as placed: ln P + ln g,  exchanged: ln P − ln g
//
// so half the sum of the two means is ln P without g. Its interval is Welch's, the
// two means being independent. Errors wrap ErrTooFew (fewer than two runs of either).
func Exchanged(placed, exchanged []float64) (OfRuns, error) {
	if len(placed) < 2 || len(exchanged) < 2 {
		return OfRuns{}, fmt.Errorf("%d runs as placed and %d exchanged, need two of each: %w", len(placed), len(exchanged), ErrTooFew)
	}
	m1, s1 := meanSD(placed)
	m2, s2 := meanSD(exchanged)
	n1, n2 := float64(len(placed)), float64(len(exchanged))
	v1, v2 := s1*s1/n1/4, s2*s2/n2/4
	if !finite(m1+m2) || !(v1+v2 > 0) {
		return OfRuns{}, fmt.Errorf("ln P of the runs is %v and %v: %w", placed, exchanged, ErrBadInput)
	}
	df := (v1 + v2) * (v1 + v2) / (v1*v1/(n1-1) + v2*v2/(n2-1))
	out := newOfRuns((m1+m2)/2, math.Sqrt(v1+v2), df, len(placed)+len(exchanged))
	out.Gain = math.Exp((m1 - m2) / 2)
	return out, nil
}

func newOfRuns(mean, se, df float64, runs int) OfRuns {
	half := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975) * se
	nan := math.NaN()
	return OfRuns{
		Penetration: Penetration{math.Exp(mean), math.Exp(mean - half), math.Exp(mean + half)},
		Runs:        runs, Q: nan, P: nan, Tau2: nan, Gain: nan,
	}
}

// meanSD is the mean and the standard deviation (divisor n − 1).
func meanSD(x []float64) (mean, sd float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / (n - 1)
	}
	return mean, math.Sqrt(sd)
}
