package group

import (
	"math"

	"dustlog/internal/words"
)

// Bounds of the warnings.
const (
	landWideGSD  = 3    // above, Land's upper limit explodes
	landFewDays  = 10   // and below so many shifts
	oddShape     = 0.05 // Shapiro–Wilk p below which lognormality is doubted
	tiedShare    = 1.0 / 3
	fewestForLag = 6 // shifts an autocorrelation is read from (common practice, no source)
)

// warn lists what a reader should know before believing the numbers.
func (w *worker) warn() {
	add := func(t words.Text) { w.s.Warnings = append(w.s.Warnings, t) }
	if n := len(w.s.Excluded); n > 0 {
		add(words.Plural(n, "%d shift was left out, with reasons: the rest need not be like them", "%d shifts were left out, with reasons: the rest need not be like them", n))
	}
	if label := w.twice(); label != "" {
		add(words.Of("%s occurs more than once: there should be one value per shift", label))
	}
	if tied := w.tied(); float64(tied) > tiedShare*float64(w.s.Days) && w.s.Days >= fewestForSpread {
		add(words.Of("%d of %d shifts share their value with another: rounding, or a sensor at its floor or top, makes the spread look other than it is", tied, w.s.Days))
	}
	if w.censored() && w.s.UTL95_95 != nil {
		add(words.Of("with shifts below detection the tolerance limits are approximate: in simulations the 95 %% confidence was between 91 and 95 %%, the 70 %% between 67 and 72 %%"))
	}
	if n := w.blind(); n > 0 {
		add(words.Plural(n, "%d shift was only known to be below a value above the limit: nobody can say whether they were over it", "%d shifts were only known to be below a value above the limit: nobody can say whether they were over it", n))
	}
	if p := w.s.ShapiroWilkP; p != nil && *p < oddShape {
		add(words.Of("the shifts do not look lognormal (Shapiro–Wilk W %.3f, p %.2g): all that rests on the spread is doubtful; look whether they are really the same work", *w.s.ShapiroWilkW, *p))
	}
	if r := w.s.Lag1; r != nil && w.s.Days >= fewestForLag && *r > oneSided95/math.Sqrt(float64(w.s.Days)) {
		add(words.Of("shifts resemble the ones before (autocorrelation %.2f): they count for less than their number, and the limits are too narrow", *r))
	}
	if w.s.MeanHigh != nil && (*w.s.GSD > landWideGSD || w.s.Days < landFewDays) {
		add(words.Of("Land's upper limit for the mean grows without bounds for few shifts of wide spread (%s, GSD %.2g): it says how little is known", shifts(w.s.Days), *w.s.GSD))
	}
}

// twice is the first label that occurs again.
func (w *worker) twice() string {
	seen := map[string]bool{}
	for _, v := range w.values {
		if v.Label != "" && seen[v.Label] {
			return v.Label
		}
		seen[v.Label] = true
	}
	return ""
}

// tied counts detected shifts whose value occurs again.
func (w *worker) tied() (n int) {
	count := map[float64]int{}
	for _, v := range w.values {
		if !v.Below {
			count[v.MgM3]++
		}
	}
	for _, c := range count {
		if c > 1 {
			n += c
		}
	}
	return n
}

// blind counts shifts below detection whose detection limit is above the limit.
func (w *worker) blind() (n int) {
	for _, v := range w.values {
		if v.Below && w.hasLimit() && v.MgM3 > w.limit {
			n++
		}
	}
	return n
}
