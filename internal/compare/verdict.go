package compare

// VerdictFor turns the confidence interval [low, high] of the ratio after/before
// into a word. smallest is the smallest reduction that matters as a fraction,
// 0.3 for 30 %. The first line that holds decides, r = 1 − smallest:
//
//	low > 1               increased
//	high ≤ r              reduced enough
//	high < 1 and low > r  reduced, but less than matters
//	high < 1              reduced, size uncertain
//	low > r               no reduction that matters
//	else                  no reduction shown
//
// Limits that are no numbers give TooLittleData. Source: reading an interval
// against the smallest effect that matters, common practice in equivalence
// testing (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657).
func VerdictFor(low, high, smallest float64) Verdict {
	r := 1 - smallest
	switch {
	case !(low <= high):
		return TooLittleData
	case low > 1:
		return Increased
	case high <= r:
		return ReducedEnough
	case high < 1 && low > r:
		return ReducedLess
	case high < 1:
		return ReducedUncertain
	case low > r:
		return NoneThatMatters
	}
	return NoReductionShown
}

// claimsChange reports whether the word says that dust went up or down.
func (v Verdict) claimsChange() bool {
	switch v {
	case Increased, ReducedEnough, ReducedLess, ReducedUncertain:
		return true
	}
	return false
}

// fell reports whether a reduction of any size is shown.
func (v Verdict) fell() bool { return v.claimsChange() && v != Increased }

// guarded withholds a word of change that the permutation test does not bear
// out. Where so few values cannot reach p ≤ alpha by relabelling, the word stays
// and restsOnModel says that it leans on log-normal sessions alone.
func guarded(v Verdict, perm Permutation, alpha float64) (word Verdict, restsOnModel bool) {
	const rounding = 1e-9
	switch {
	case !v.claimsChange():
		return v, false
	case perm.Smallest > alpha+rounding:
		return v, true
	case perm.P > alpha+rounding:
		return NoReductionShown, false
	}
	return v, false
}
