package group

import (
	"errors"
	"math"

	"dustlog/internal/words"
)

// EN 689:2018, 5.5: the share of shifts that must lie below the limit and the
// confidence it must be shown with (from memory).
const (
	en689Share      = 0.95
	en689Confidence = 0.70
	en689Fewest     = 6 // shifts for the statistical test
)

// preliminaryShares are the shares of the limit that 3, 4 or 5 shifts must all lie
// below in the preliminary test of EN 689:2018, 5.5.2 (from memory).
var preliminaryShares = map[int]float64{3: 0.1, 4: 0.15, 5: 0.2}

const mostPreliminary = 5

// EN689 is the outcome of EN 689:2018's tests of one group of shifts.
type EN689 struct {
	Finding Finding    `json:"finding"`
	Why     words.Text `json:"why"`
	// PreliminaryShare is the share of the limit that so few shifts must all lie
	// below; nil if there are fewer than 3 or more than 5.
	PreliminaryShare *float64 `json:"preliminary_share_of_limit"`
	UR               *float64 `json:"u_r"` // (ln L − ȳ)/s
	UT               *float64 `json:"u_t"` // least U_R that shows it
	MoreDays         int      `json:"more_days_needed"`
	// MoreDaysIfAlike is how many more shifts would show it if they were like those
	// so far; nil if none would, or if nothing is lacking.
	MoreDaysIfAlike *int `json:"more_days_if_alike"`
}

// UR is how far the limit (mg/m³) lies above the mean, in standard deviations of
// logarithms: (ln L − ȳ)/s. Source: EN 689:2018, Annex F (from memory).
func (d Lognormal) UR(limit float64) (float64, error) {
	if err := d.usable(); err != nil {
		return 0, err
	}
	return (math.Log(limit) - d.Mean) / d.SD, nil
}

// UT is the least U_R with which 95 % of shifts are shown to lie below the limit
// with 70 % confidence: ToleranceFactor(n, 0.95, 0.70). n ≥ 6.
func UT(n int) (float64, error) {
	if n < en689Fewest {
		return 0, TooFewError{Have: n, Need: en689Fewest}
	}
	return ToleranceFactor(n, en689Share, en689Confidence)
}

// testEN689 judges the shifts against a limit in mg/m³. d is their fit, err why
// there is none.
func testEN689(values []Value, limit float64, d Lognormal, err error) EN689 {
	var e EN689
	n, over, highest := len(values), 0, 0.0
	for _, v := range values {
		highest = max(highest, v.MgM3)
		if !v.Below && v.MgM3 > limit {
			over++
		}
	}
	switch share, few := preliminaryShares[n]; {
	case over > 0:
		e.Finding = Over
		e.Why = overText(over, n, limit)
	case n < 3:
		e.Finding, e.MoreDays = NotEnoughDays, 3-n
		e.Why = words.Plural(n, "The preliminary test takes at least 3 shifts; there is %d.", "The preliminary test takes at least 3 shifts; there are %d.", n)
		if n == 0 {
			e.Why = words.Of("The preliminary test takes at least 3 shifts; there is none.")
		}
	case few:
		e.PreliminaryShare = &share
		if highest < share*limit {
			e.Finding = ShownBelow
			e.Why = words.Of("All %d shifts are below %s of the limit of %s, which the preliminary test accepts from so few.", n, percent(share), mg(limit))
			break
		}
		e.Finding, e.MoreDays = NotEnoughDays, en689Fewest-n
		e.Why = words.Of("Not all %d shifts are below %s of the limit of %s, so the statistical test has to decide, and it takes at least %d shifts.", n, percent(share), mg(limit), en689Fewest)
	case err != nil && highest < preliminaryShares[mostPreliminary]*limit:
		// More shifts than the preliminary test asks for, and most below detection.
		e.Finding = ShownBelow
		e.Why = words.Of("All %d shifts are below %s of the limit of %s, which the preliminary test accepts from %d.", n, percent(preliminaryShares[mostPreliminary]), mg(limit), mostPreliminary)
	default:
		e.statistical(limit, d, err)
	}
	return e
}

// statistical is the test on six and more shifts.
func (e *EN689) statistical(limit float64, d Lognormal, err error) {
	e.Finding = NotShown
	var ur, ut float64
	if err == nil {
		ur, err = d.UR(limit)
	}
	if err == nil {
		ut, err = UT(d.N)
	}
	if err != nil {
		if few := (TooFewError{}); errors.As(err, &few) {
			e.Finding, e.MoreDays = NotEnoughDays, few.More()
		}
		e.Why = words.Of("The statistical test cannot be made: %s.", reason(err))
		return
	}
	e.UR, e.UT = &ur, &ut
	numbers := words.Of("U_R is %.2f, and %.2f or more is needed from %d shifts", ur, ut, d.N)
	if ur >= ut {
		e.Finding = ShownBelow
		e.Why = words.Of("Shown below the limit of %s in 95 %% of shifts, with 70 %% confidence: %s.", mg(limit), numbers)
		return
	}
	e.Why = words.Of("Not shown that 95 %% of shifts are below the limit of %s: %s.", mg(limit), numbers)
	if more, ok := moreIfAlike(ur, d.N); ok {
		e.MoreDaysIfAlike = &more
		e.Why = words.Join(" ", e.Why, words.Plural(more, "%d more shift like these would show it.", "%d more shifts like these would show it.", more))
	} else {
		e.Why = words.Join(" ", e.Why, words.Of("More shifts like these would not show it: the dust has to go down first."))
	}
}

// mostShifts is where looking for enough shifts ends: two years of work.
const mostShifts = 500

// moreIfAlike is how many more shifts would reach U_T if U_R stayed: the least with
// P(T ≤ √n·U_R; n−1, z_0.95·√n) ≥ 0.70, which is U_R ≥ U_T solved for n.
func moreIfAlike(ur float64, n int) (more int, ok bool) {
	reached := func(n int) bool {
		root := math.Sqrt(float64(n))
		return NoncentralT{DF: float64(n - 1), Delta: normalQuantile(en689Share) * root}.CDF(root*ur) >= en689Confidence
	}
	if !reached(mostShifts) {
		return 0, false
	}
	lo, hi := n, mostShifts // U_T falls as n grows
	for hi-lo > 1 {
		if middle := (lo + hi) / 2; reached(middle) {
			hi = middle
		} else {
			lo = middle
		}
	}
	return hi - n, true
}
