package group

import (
	"cmp"
	"math"

	"gonum.org/v1/gonum/stat"

	"dustlog/internal/words"
)

// spread computes what describes the shifts themselves.
func (w *worker) spread() {
	w.put("gm_mg_m3", &w.s.GM, w.fit.GM(), w.fitErr)
	err := w.needs(fewestForSpread)
	w.put("gsd", &w.s.GSD, w.fit.GSD(), err)
	w.put("p95_mg_m3", &w.s.P95, w.fit.Percentile(share95), err)
	for _, u := range []struct {
		key        string
		into       **float64
		confidence float64
	}{{"utl95_95_mg_m3", &w.s.UTL95_95, confidence95}, {"utl95_70_mg_m3", &w.s.UTL95_70, confidence70}} {
		var x float64
		err := cmp.Or(w.needs(fewestForSpread), w.atLeast())
		if err == nil {
			x, err = w.fit.UpperTolerance(share95, u.confidence)
		}
		w.put(u.key, u.into, x, err)
	}
}

// shape looks for what would make the spread mean something else.
func (w *worker) shape() {
	var y []float64
	for _, v := range w.values {
		y = append(y, math.Log(v.MgM3))
	}
	if w.censored() {
		err := words.Error(words.Of("not made where shifts are below detection"))
		w.absent("shapiro_wilk_w", err)
		w.absent("shapiro_wilk_p", err)
		w.absent("autocorrelation_lag1", err)
		return
	}
	shapiro, p, err := ShapiroWilk(y)
	w.put("shapiro_wilk_w", &w.s.ShapiroWilkW, shapiro, err)
	w.put("shapiro_wilk_p", &w.s.ShapiroWilkP, p, err)
	w.put("autocorrelation_lag1", &w.s.Lag1, lag1(y), err)
}

// mean computes the arithmetic mean and its limits.
func (w *worker) mean() {
	mean, err := 0.0, w.fitErr
	switch {
	case err != nil:
	case w.ros != nil:
		mean, _ = w.ros.Mean()
	case w.mle != nil:
		mean = w.mle.Mean()
	default:
		x := make([]float64, len(w.values))
		for i, v := range w.values {
			x[i] = v.MgM3
		}
		mean = stat.Mean(x, nil)
	}
	w.put("mean_mg_m3", &w.s.Mean, mean, err)
	if err == nil && w.censored() {
		err = words.Error(words.Of("exact only where every shift is detected"))
	}
	if err = cmp.Or(w.needs(fewestForSpread), err); err == nil {
		err = w.fit.usable()
	}
	if err != nil {
		w.absent("mean_mvue_mg_m3", err)
		w.absent("mean_land_low95_mg_m3", err)
		w.absent("mean_land_high95_mg_m3", err)
		return
	}
	mvue, err := w.fit.MeanMVUE()
	w.put("mean_mvue_mg_m3", &w.s.MeanUnbiased, mvue, err)
	low, high, err := w.fit.LandMean(confidence95)
	w.put("mean_land_low95_mg_m3", &w.s.MeanLow, low, err)
	w.put("mean_land_high95_mg_m3", &w.s.MeanHigh, high, cmp.Or(err, w.atLeast()))
}

// plot places the shifts in the probability plot, the lowest first.
func (w *worker) plot() {
	position := PlottingPositions(w.values)
	for _, i := range order(w.values) {
		v := w.values[i]
		p := PlotPoint{Label: v.Label, MgM3: v.MgM3, Below: v.Below, Position: position[i], Z: normalQuantile(position[i])}
		if fitted := math.Exp(w.fit.Mean + w.fit.SD*p.Z); w.s.GSD != nil && positive(fitted) {
			p.Fitted = &fitted
		}
		w.s.Plot = append(w.s.Plot, p)
	}
}
