package group

import "dustlog/internal/words"

// How shifts below detection are counted, by their share and the number of shifts;
// the package comment has the rule.
const (
	mostForFit        = 0.5
	mostForPercentile = 0.8
	enoughForMLE      = 20
)

// choose fits the lognormal distribution.
func (w *worker) choose() {
	n := len(w.values)
	if n == 0 {
		w.fitErr = TooFewError{Need: 1}
		return
	}
	if !w.censored() {
		x := make([]float64, n)
		for i, v := range w.values {
			x[i] = v.MgM3
		}
		w.fit, w.fitErr = FitLognormal(x)
		return
	}
	share := float64(w.s.DaysBelow) / float64(n)
	d := NonDetects{Share: share, AtMost: *w.s.Highest}
	w.s.NonDetects = &d
	if share > mostForPercentile {
		d.Method = words.Of("at most")
		w.fitErr = words.Error(words.Of("%d of %d shifts are below detection: only “at most” can be said", w.s.DaysBelow, n))
		return
	}
	km := NewKaplanMeier(w.values)
	w.percentile("non_detects.kaplan_meier_median_mg_m3", &d.KMMedian, km, 0.5)
	w.percentile("non_detects.kaplan_meier_p95_mg_m3", &d.KMP95, km, share95)
	if share > mostForFit {
		d.Method = words.Of("Kaplan–Meier percentiles")
		w.fitErr = words.Error(words.Of("%d of %d shifts are below detection: percentiles only", w.s.DaysBelow, n))
		return
	}
	w.put("non_detects.kaplan_meier_mean_mg_m3", &d.KMMean, km.Mean(), nil)
	ros, rosErr := FitROS(w.values)
	mle, mleErr := FitMLE(w.values)
	rosMean := 0.0
	if rosErr == nil {
		rosMean, _ = ros.Mean()
	}
	w.put("non_detects.ros_mean_mg_m3", &d.ROSMean, rosMean, rosErr)
	w.put("non_detects.mle_mean_mg_m3", &d.MLEMean, mle.Mean(), mleErr)
	if n < enoughForMLE {
		d.Method = words.Of("regression on order statistics")
		if w.fitErr = rosErr; rosErr == nil {
			w.ros, w.fit = &ros, ros.Lognormal()
		}
		return
	}
	d.Method = words.Of("maximum likelihood")
	if w.fitErr = mleErr; mleErr == nil {
		w.mle, w.fit = &mle, mle.Lognormal()
	}
}

func (w *worker) percentile(key string, into **float64, km KaplanMeier, p float64) {
	x, ok := km.Percentile(p)
	var err error
	if !ok {
		err = words.Error(words.Of("it lies below the lowest shift that was detected"))
	}
	w.put(key, into, x, err)
}
