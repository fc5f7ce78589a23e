package efficiency

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/words"
)

// leastLoading is the fewest runs that a trend is fitted to (our choice).
const leastLoading = 5

// loading follows penetration over the run time that the filter has behind it:
// a straight line through ln P, least squares, slope with Student's t and n − 2
// degrees of freedom.
func (in Input) loading(q quantity, pairs []pair) *Loading {
	l := &Loading{Label: q.label, Runs: []LoadingRun{}}
	e := in.newEstimate(q, pairs)
	var hours, ln []float64
	before := 0.0
	for _, p := range pairs {
		length := p.run.Task.Stop.Sub(p.run.Task.Start)
		r := e.run(p)
		run := LoadingRun{
			Date: p.run.Task.Start.In(in.Zone).Format(time.DateOnly), Task: p.run.Task.Name,
			HoursBefore: before, Minutes: length.Minutes(), Penetration: percent(r.Down / r.Up),
		}
		if in.DuctFlow > 0 {
			const microgramsPerMilligram = 1000
			air := in.DuctFlow * length.Hours() // m³
			run.FedMg, run.PassedMg = ptr(r.Up*air/microgramsPerMilligram), ptr(r.Down*air/microgramsPerMilligram)
		}
		if y := lnRatio(r.Down, r.Up); finite(y) {
			hours, ln = append(hours, before+length.Hours()/2), append(ln, y)
		}
		before += length.Hours()
		l.Runs = append(l.Runs, run)
	}
	switch {
	case len(ln) < leastLoading:
		l.Why = words.Of("a trend takes five runs")
		return l
	case slices.ContainsFunc(pairs, func(p pair) bool { return p.run.Exchanged }):
		l.Why = words.Of("the sensors were exchanged on the way, so their ratio is in the trend: none is fitted")
		return l
	}
	slope, half, start := trend(hours, ln)
	const per = 10 // h
	change := func(s float64) *float64 { return percent(math.Expm1(s * per)) }
	l.ChangePer10h, l.ChangeLow, l.ChangeHigh = change(slope), change(slope-half), change(slope+half)
	l.AtStart = percent(math.Exp(start))
	if slope-half < 0 && slope+half > 0 {
		l.Why = words.Of("no change with use is shown")
	}
	return l
}

// trend is the least squares slope of y on x, half its 95 % interval, and y at x = 0.
func trend(x, y []float64) (slope, half, start float64) {
	intercept, slope := stat.LinearRegression(x, y, nil, false)
	var rss float64
	for i := range x {
		r := y[i] - intercept - slope*x[i]
		rss += r * r
	}
	df := float64(len(x) - 2)
	_, variance := stat.MeanVariance(x, nil)
	se := math.Sqrt(rss / df / (variance * float64(len(x)-1)))
	return slope, distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975) * se, intercept
}
