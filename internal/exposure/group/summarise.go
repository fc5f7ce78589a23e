package group

import (
	"errors"
	"math"

	"dustlog/internal/words"
)

// Options of Summarise. The zero value is a good choice.
type Options struct {
	// FloorMgM3 is what the sensor cannot tell from clean air (mean + 3 standard
	// deviations of a zero check). Lower shifts count as below it. 0: none is known.
	FloorMgM3 float64
	// AtLeast is why the values may be lower than the exposure, as a sentence: fine
	// dust under a limit for all of it, a sensor at its top. Such values can show
	// that a limit is exceeded and nothing else. Nothing if they may not.
	AtLeast words.Text
	// Prior of the Bayesian answer; nil is DefaultPrior.
	Prior *Prior
}

// Confidence and shares of the answers.
const (
	share95      = 0.95
	confidence95 = 0.95
	confidence70 = 0.70
	// fewestForCategory is the least number of shifts an AIHA category is taken
	// from; the AIHA's book asks for six to ten (from memory).
	fewestForCategory = 6
)

// Summarise says what shifts, in the order of their days, tell together about a
// limit in mg/m³. A limit of zero is no limit. It never fails: what cannot be
// computed is listed with its reason.
func Summarise(values []Value, limit float64, opts Options) Summary {
	w := worker{limit: limit, opts: opts, s: Summary{Excluded: []Excluded{}, Statements: []Statement{},
		Plot: []PlotPoint{}, NotComputed: []Absent{}, Warnings: []words.Text{}}}
	w.sift(values)
	w.choose()
	w.spread()
	w.shape()
	w.mean()
	w.compare()
	w.bayes()
	w.plot()
	w.headline()
	w.warn()
	w.s.Method = methodText(w)
	return w.s
}

// worker fills a Summary.
type worker struct {
	values []Value
	limit  float64
	opts   Options
	fit    Lognormal
	fitErr error // why there is no fit
	ros    *ROS
	mle    *CensoredMLE
	s      Summary
}

func (w *worker) hasLimit() bool { return positive(w.limit) }

func (w *worker) censored() bool { return w.s.DaysBelow > 0 }

// atLeast is the error of a number that values which are "at least" cannot give.
func (w *worker) atLeast() error {
	if w.opts.AtLeast.IsZero() {
		return nil
	}
	return words.Error(w.opts.AtLeast)
}

// put stores a number, or why there is none.
func (w *worker) put(key string, into **float64, x float64, err error) {
	if err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
		err = words.Error(words.Of("the number is too large to write down"))
	}
	if err != nil {
		w.absent(key, err)
		return
	}
	*into = &x
}

func (w *worker) absent(key string, err error) {
	n := Absent{Key: key, Why: reason(err)}
	if few := (TooFewError{}); errors.As(err, &few) {
		n.MoreDays = few.More()
	}
	w.s.NotComputed = append(w.s.NotComputed, n)
}

// needs says why there is no fit, or that it rests on fewer shifts than needed.
func (w *worker) needs(shifts int) error {
	if w.s.Days < shifts {
		return TooFewError{Have: w.s.Days, Need: shifts}
	}
	return w.fitErr
}

// sift keeps the shifts that count.
func (w *worker) sift(values []Value) {
	for _, v := range values {
		var why words.Text
		switch {
		case math.IsNaN(v.MgM3) || math.IsInf(v.MgM3, 0):
			why = words.Of("there is no number")
		case v.MgM3 < 0:
			why = words.Of("no concentration is below zero")
		case v.MgM3 < w.opts.FloorMgM3 && positive(w.opts.FloorMgM3):
			v.MgM3, v.Below = w.opts.FloorMgM3, true
		case v.MgM3 == 0:
			why = words.Of("zero has no logarithm: say from where on the sensor can tell dust from clean air, and it counts as below that")
		}
		if !why.IsZero() {
			w.s.Excluded = append(w.s.Excluded, Excluded{v.Label, why})
			continue
		}
		w.values = append(w.values, v)
		if v.Below {
			w.s.DaysBelow++
		}
		if w.s.Highest == nil || v.MgM3 > *w.s.Highest {
			w.s.Highest = &v.MgM3
		}
	}
	if w.s.Days = len(w.values); w.s.Days == 0 {
		w.absent("highest_mg_m3", TooFewError{Need: 1})
	}
}

// headline takes the strictest answer.
func (w *worker) headline() {
	switch low := w.s.ExceedanceLow; {
	case !w.hasLimit():
		w.s.Finding, w.s.Why = CannotTell, words.Of("There is no limit to compare with.")
	case w.s.EN689.Finding != Over && low != nil && *low > 1-share95:
		w.s.Finding = Over
		w.s.Why = words.Of("No shift was above the limit of %s, but with 95 %% confidence at least %s of shifts are.", mg(w.limit), percent(*low))
	default:
		w.s.Finding, w.s.Why, w.s.MoreDays = w.s.EN689.Finding, w.s.EN689.Why, w.s.EN689.MoreDays
	}
}
