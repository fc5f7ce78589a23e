package group

import (
	"cmp"

	"dustlog/internal/words"
)

// categoryBounds are the AIHA's shares of the limit for the 95th percentile: up to
// 1 % category 0, up to 10 % 1, 50 % 2, 100 % 3, above 4. Source: AIHA, A Strategy
// for Assessing and Managing Occupational Exposures (from memory).
var categoryBounds = []float64{0.01, 0.1, 0.5, 1}

// compare holds the shifts against the limit.
func (w *worker) compare() {
	if !w.hasLimit() {
		for _, key := range []string{"limit_mg_m3", "exceedance_share", "exceedance_share_low95", "exceedance_share_high95", "action_level_mg_m3", "aiha_category", "en_689"} {
			w.absent(key, words.Error(words.Of("there is no limit to compare with")))
		}
		return
	}
	w.s.LimitMgM3 = &w.limit
	action := w.limit / 2 // NIOSH 77-173, from memory
	w.s.ActionLevel = &action
	for _, v := range w.values {
		if !v.Below && v.MgM3 > w.limit {
			w.s.DaysOver++
		}
		if !v.Below && v.MgM3 > action {
			w.s.DaysOverActionLevel++
		}
	}
	err := w.needs(fewestForSpread)
	var share, low, high float64
	if err == nil {
		share, low, high, err = w.fit.Exceedance(w.limit, confidence95)
	}
	w.put("exceedance_share", &w.s.Exceedance, share, err)
	w.put("exceedance_share_low95", &w.s.ExceedanceLow, low, err)
	w.put("exceedance_share_high95", &w.s.ExceedanceHigh, high, cmp.Or(err, w.atLeast()))
	w.category()
	e := testEN689(w.values, w.limit, w.fit, w.fitErr)
	if !w.opts.AtLeast.IsZero() && e.Finding != Over {
		e.Finding, e.Why, e.MoreDays, e.MoreDaysIfAlike = CannotTell, w.opts.AtLeast, 0, nil
	}
	w.s.EN689 = &e
	w.state(words.Literal("EN 689:2018"), e.Finding, e.Why)
	w.stateTolerance()
}

func (w *worker) category() {
	if err := cmp.Or(w.atLeast(), w.needs(fewestForCategory)); err != nil {
		w.absent("aiha_category", err)
		return
	}
	category := 0
	for category < len(categoryBounds) && w.fit.Percentile(share95) > categoryBounds[category]*w.limit {
		category++
	}
	w.s.Category = &category
}

func (w *worker) state(method words.Text, f Finding, text words.Text) {
	w.s.Statements = append(w.s.Statements, Statement{method, f, text})
}

// bayes adds the Bayesian answer.
func (w *worker) bayes() {
	prior := DefaultPrior
	if w.opts.Prior != nil {
		prior = *w.opts.Prior
	}
	err := w.fitErr
	if err == nil && w.censored() {
		err = words.Error(words.Of("made only where every shift is detected"))
	}
	if err == nil {
		err = w.atLeast()
	}
	var q Posterior
	if err == nil {
		q, err = prior.Update(w.fit)
	}
	if err != nil {
		w.absent("bayes", err)
		return
	}
	b := Bayes{Prior: prior}
	w.s.Bayes = &b
	w.put("bayes.p95_upper95_mg_m3", &b.P95Upper95, q.PercentileLimit(share95, confidence95), nil)
	if !w.hasLimit() {
		return
	}
	below := 0.0
	for _, bound := range categoryBounds {
		chance := q.ChanceBelow(bound*w.limit, share95)
		b.CategoryChances = append(b.CategoryChances, chance-below)
		below = chance
	}
	b.CategoryChances = append(b.CategoryChances, 1-below)
	b.ChanceBelow = &below
	w.stateBayes(below, prior)
}
