package compare

import (
	"fmt"
	"math"

	"dustlog/internal/exposure/group"
)

// PlanningSD is the spread to plan with before any data: standard deviation of
// session means in ln units. Basis: day-to-day variance within workers of about
// 0.26–0.28 (sd 0.52) in wood furniture factories.
const PlanningSD = 0.5

// SessionsNeeded is the number of sessions per setup (paired: of days with both
// setups) with which a true reduction (0.3 for 30 %) is shown with the given
// power by a two-sided t test at the given confidence. sd is the standard
// deviation of session means (paired: of daily ratios) in ln units. The number
// is fractional: round up.
//
//	power = P(T > t(1−α/2; df)), T noncentral t with δ = −ln(1−reduction)·√n/sd
//	and df = n−1 (paired), or δ/√2 and df = 2n−2
//
// Source: power of the t test, Cohen 1988, ch. 2. Domain: 0 < reduction < 1,
// sd > 0, 0 < power < 1.
func SessionsNeeded(reduction, sd float64, paired bool, power, confidence float64) (float64, error) {
	if !(reduction > 0 && reduction < 1) {
		return 0, fmt.Errorf("reduction %g: %w or not below 1", reduction, ErrNotPositive)
	}
	return SessionsForShift(-math.Log1p(-reduction), sd, paired, power, confidence)
}

// SessionsForShift is SessionsNeeded for any distance of ln ratio from the value
// to be ruled out. Domain: shift > 0.
func SessionsForShift(shift, sd float64, paired bool, power, confidence float64) (float64, error) {
	if !(shift > 0 && sd > 0 && !math.IsInf(sd, 1)) || !(power > 0 && power < 1) || !(confidence > 0 && confidence < 1) {
		return 0, fmt.Errorf("shift %g, sd %g, power %g, confidence %g: %w or out of range", shift, sd, power, confidence, ErrNotPositive)
	}
	delta := shift / sd
	reached := func(n float64) float64 {
		df, ncp := n-1, delta*math.Sqrt(n)
		if !paired {
			df, ncp = 2*n-2, delta*math.Sqrt(n/2)
		}
		return group.NoncentralT{DF: df, Delta: ncp}.Survival(tQuantile(1-(1-confidence)/2, df))
	}
	const fewest, most = 2, 1e6
	if reached(fewest) >= power {
		return fewest, nil
	}
	lo, hi := float64(fewest), 2.0*fewest
	for reached(hi) < power {
		if lo, hi = hi, 2*hi; hi > most {
			return 0, fmt.Errorf("a shift of %g at sd %g needs more than %g sessions", shift, sd, float64(most))
		}
	}
	for hi-lo > 1e-6*hi {
		if mid := (lo + hi) / 2; reached(mid) < power {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi, nil
}

// DetectableReduction is the true reduction that n sessions per setup (paired:
// days) show with the given power: 1 − exp(−(t(1−α/2; df) + t(power; df))·se), se
// = sd·√(2/n), or sd/√n. An approximation of the inverse of SessionsNeeded.
// Domain: n ≥ 2.
func DetectableReduction(n int, sd float64, paired bool, power, confidence float64) float64 {
	df, se := float64(2*n-2), sd*math.Sqrt(2/float64(n))
	if paired {
		df, se = float64(n-1), sd/math.Sqrt(float64(n))
	}
	return -math.Expm1(-(tQuantile(1-(1-confidence)/2, df) + tQuantile(power, df)) * se)
}
