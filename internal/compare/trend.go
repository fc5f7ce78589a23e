package compare

import (
	"math"

	"dustlog/internal/words"
)

// trend is the common slope of the ln session values on time within the setups
// (least squares, n − 3 degrees of freedom).
type trend struct {
	slope, low, high float64 // ln units a day, with the interval
	days             float64 // from the mean time of the sessions before to that after
	ratio            float64 // after/before as estimated
	ok               bool    // it can be told
}

// trend finds the slope. Fewer than three sessions of a setup, or sessions close
// together in time, cannot tell.
func (st *study) trend(a analysis, order []placed) (t trend) {
	df := len(order) - 3 // two levels and the slope
	if min(a.n[before], a.n[after]) < fewestSessions || df < 1 || a.arithmetic || st.noDiary {
		return t
	}
	x, y := withinSetups(order)
	var sxx, sxy, rss float64
	for i := range x {
		sxx += x[i] * x[i]
		sxy += x[i] * y[i]
	}
	if !(sxx > 0.5) { // hours within a day say nothing about days
		return t
	}
	t.slope = sxy / sxx
	for i := range x {
		rss += (y[i] - t.slope*x[i]) * (y[i] - t.slope*x[i])
	}
	q := tQuantile(1-(1-st.in.Confidence)/2, float64(df)) * math.Sqrt(rss/float64(df)/sxx)
	t.low, t.high = t.slope-q, t.slope+q
	t.days, t.ratio = daysApart(order), a.pointRatio()
	// Expm1 of a huge limit is no number any more.
	t.ok = isFinite(perDay(t.slope)) && isFinite(perDay(t.low)) && isFinite(perDay(t.high))
	return t
}

// perDay turns a slope in ln units a day into percent a day.
func perDay(slope float64) float64 { return 100 * math.Expm1(slope) }

// expected is the ratio after/before that the trend alone would bring.
func (t trend) expected() float64 { return math.Exp(t.slope * t.days) }

// concerns reports whether the levels were shown to move within the setups, and
// in the way that makes the difference look larger.
func (t trend) concerns() bool {
	shown := t.low > 0 || t.high < 0
	felt := math.Round(100*(t.expected()-1)) != 0
	return t.ok && shown && felt && t.slope*t.days*math.Log(t.ratio) > 0
}

// explainsEnough reports whether, with what the trend alone would bring taken
// out, the ratio no longer is a reduction that matters.
func (t trend) explainsEnough(smallest float64) bool {
	return t.concerns() && t.ratio/t.expected() > 1-smallest
}

// text is a sentence on the trend; "" if it does not bear on the difference.
func (t trend) text() words.Text {
	if !t.concerns() {
		return words.Text{}
	}
	way := words.Of("falling")
	if t.slope > 0 {
		way = words.Of("rising")
	}
	daily, days := atLeastATenth(math.Abs(perDay(t.slope))), percent(math.Abs(t.days))
	if math.Abs(t.slope*t.days) >= math.Abs(math.Log(t.ratio)) {
		return words.Of("Levels were already %s within each setup by %s %% a day; over the %s days between the middles of the two blocks that alone could explain the whole difference.", way, daily, days)
	}
	return words.Of("Levels were already %s within each setup by %s %% a day; over the %s days between the middles of the two blocks that alone could explain a level %s.", way, daily, days, change(t.expected()))
}

func atLeastATenth(p float64) words.Text {
	if p < 0.1 {
		return words.Of("less than 0.1")
	}
	return percent(p).Text()
}

// heedTrend takes back the word that the reduction is enough, where going on as
// before would have brought so much of it that the rest is not.
func (d decision) heedTrend(t trend, smallest float64) decision {
	if d.verdict.claimsChange() {
		d.trend = t.text()
	}
	if d.verdict == ReducedEnough && t.explainsEnough(smallest) {
		d.verdict, d.trendBars = ReducedUncertain, true
	}
	return d
}

// caution is one plain sentence about what else may account for the difference,
// for designs that cannot keep it apart.
func (st *study) caution(res Result, t trend) words.Text {
	if res.Ratio == nil {
		return words.Text{}
	}
	switch {
	case st.noDiary:
		return words.Of("Without a diary a shorter working day looks like less dust, and a longer one like more.")
	case res.DesignByOrder == "D":
		return words.Of("A setup with a single session: whatever else was different that day may be part of the difference, or all of it.")
	case res.DesignByOrder == "C":
		return sentences(words.Of("One block before, one after: season, wood or sensor drift may be part of the difference."), t.text())
	case len(res.Confounders) > 0:
		return words.Of("Not everything was alike under the two setups: %s.", res.Confounders[0].Why)
	}
	return words.Text{}
}

// withinSetups gives days and ln values less the means of their setup.
func withinSetups(order []placed) (x, y []float64) {
	var mx, my, n [sides]float64
	for _, p := range order {
		mx[p.side] += p.start.Sub(order[0].start).Hours() / 24
		my[p.side] += p.y
		n[p.side]++
	}
	for _, p := range order {
		x = append(x, p.start.Sub(order[0].start).Hours()/24-mx[p.side]/n[p.side])
		y = append(y, p.y-my[p.side]/n[p.side])
	}
	return x, y
}

// daysApart is the time from the mean of the sessions before to that of those after.
func daysApart(order []placed) float64 {
	var mean, n [sides]float64
	for _, p := range order {
		mean[p.side] += p.start.Sub(order[0].start).Hours() / 24
		n[p.side]++
	}
	return mean[after]/n[after] - mean[before]/n[before]
}
