package group

import (
	"math"

	"dustlog/internal/words"
)

// stateTolerance puts the tolerance limit and the exceedance into words.
func (w *worker) stateTolerance() {
	method := words.Of("tolerance limit, 95 %% of shifts with 95 %% confidence")
	utl, share, low, high := w.s.UTL95_95, w.s.Exceedance, w.s.ExceedanceLow, w.s.ExceedanceHigh
	limit := mg(w.limit)
	switch {
	case low != nil && *low > 1-share95:
		w.state(method, Over, words.Of("With 95 %% confidence at least %s of shifts are above the limit of %s.", percent(*low), limit))
	case !w.opts.AtLeast.IsZero():
		w.state(method, CannotTell, w.opts.AtLeast)
	case utl == nil || high == nil:
		w.stateNoTolerance(method)
	case *utl <= w.limit:
		w.state(method, ShownBelow, words.Of("With 95 %% confidence, 95 %% of shifts are below %s, and so below the limit of %s. Estimated share above the limit: %s, with 95 %% confidence at most %s.",
			mg(*utl), limit, percent(*share), percent(*high)))
	default:
		w.state(method, NotShown, words.Of("With 95 %% confidence, 95 %% of shifts are below %s, which is above the limit of %s. Estimated share above the limit: %s, with 95 %% confidence at most %s.",
			mg(*utl), limit, percent(*share), percent(*high)))
	}
}

// stateNoTolerance says why there is no tolerance limit.
func (w *worker) stateNoTolerance(method words.Text) {
	for _, n := range w.s.NotComputed {
		if n.Key != "utl95_95_mg_m3" {
			continue
		}
		if n.MoreDays > 0 {
			w.state(method, NotEnoughDays, words.Of("A tolerance limit takes %s than there are.", moreShifts(n.MoreDays)))
			return
		}
		w.state(method, NotShown, words.Of("No tolerance limit: %s.", n.Why))
		return
	}
}

// stateBayes puts the Bayesian answer into words. It is never "over": with few
// shifts that would be the prior speaking.
func (w *worker) stateBayes(chance float64, p Prior) {
	f := NotShown
	if chance >= confidence95 {
		f = ShownBelow
	}
	w.state(words.Of("Bayes, prior shown"), f, words.Of("After %s and with the prior (%s), the chance that 95 %% of shifts are below the limit of %s is %s.",
		shifts(w.s.Days), p.text(), mg(w.limit), percent(chance)))
}

// text says what a prior believes.
func (p Prior) text() words.Text {
	level := words.Of("nothing about the level")
	if p.K0 > 0 {
		level = words.Of("a level of %s that weighs as much as %.3g shifts", mg(Lognormal{Mean: p.M0}.GM()), p.K0)
	}
	freedom := 2*p.A0 + 1
	if p.K0 > 0 {
		freedom = 2 * p.A0
	}
	if !(freedom > 0) || !(p.B0 > 0) {
		return words.Of("%s, nothing about the spread", level)
	}
	return words.Of("%s, a spread with a GSD of %.2f that weighs as much as %.3g shifts", level, math.Exp(math.Sqrt(2*p.B0/freedom)), freedom)
}

// methodText names what was computed, for the record.
func methodText(w worker) words.Text {
	fit := words.Of("ȳ and s of the logarithms")
	switch {
	case w.s.NonDetects != nil:
		fit = words.Of("%d of %d shifts below detection: %s", w.s.DaysBelow, w.s.Days, w.s.NonDetects.Method)
	case w.fitErr != nil:
		return words.Of("nothing computed: no shift that counts")
	}
	return words.Join("; ",
		words.Of("one value per shift, taken as lognormal and independent of each other"),
		fit,
		words.Of("tolerance limits and exceedance from the noncentral t distribution (Odeh and Owen 1980)"),
		words.Of("limits of the arithmetic mean by Land 1971, unbiased mean by Finney 1941"),
		words.Of("plotting positions by Hirsch and Stedinger 1987"))
}
