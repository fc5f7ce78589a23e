package compare

import (
	"fmt"
	"math"
	"time"
)

// placed is a session that went in, in the order of time.
type placed struct {
	index int
	side  side
	day   string
	start time.Time
	y     float64
}

// timeOrder lists the sessions that went in; study.sessions are in time order.
func (st *study) timeOrder(a analysis) []placed {
	var out []placed
	for i, x := range st.sessions {
		if y, ok := a.effects[i]; ok && a.used[i] {
			out = append(out, placed{index: i, side: x.side, day: x.day, start: x.start, y: y})
		}
	}
	return out
}

// designGrade grades how well the order of sessions keeps the change apart from
// everything else that time brings: B alternated, C before/after, D single
// records. A needs an order drawn at random beforehand, which readings cannot show.
func designGrade(order []placed) (grade, why string) {
	var n [sides]int
	var rank [sides]float64
	switches := 0
	for i, p := range order {
		n[p.side]++
		rank[p.side] += float64(i)
		if i > 0 && p.side != order[i-1].side {
			switches++
		}
	}
	if n[before] < 2 || n[after] < 2 {
		return "D", "one record or none of a setup: nothing tells the change apart from what else was different that day"
	}
	// Two blocks one after the other are half of all sessions apart on average.
	apart := math.Abs(rank[before]/float64(n[before])-rank[after]/float64(n[after])) / (float64(len(order)) / 2)
	if switches < 2 || apart > 0.5 {
		return "C", "one setup came first and the other after it: season, wood, sensor drift or habit may have changed with it"
	}
	why = fmt.Sprintf("the setups took turns, %d changes over %d sessions, so slow drift falls on both", switches, len(order))
	if first, same := sameFirst(order); same {
		why += fmt.Sprintf("; but the %s setup came first every day, so the time of day may play a part", first)
	}
	return "B", why
}

// sameFirst reports whether, of the days with both setups, all began with the same one.
func sameFirst(order []placed) (first string, same bool) {
	type day struct {
		first side
		both  bool
	}
	days := map[string]day{}
	for _, p := range order {
		d, ok := days[p.day]
		if !ok {
			d.first = p.side
		}
		d.both = d.both || p.side != d.first
		days[p.day] = d
	}
	var n [sides]int
	for _, d := range days {
		if d.both {
			n[d.first]++
		}
	}
	switch {
	case n[before] >= 2 && n[after] == 0:
		return "old", true
	case n[after] >= 2 && n[before] == 0:
		return "new", true
	}
	return "", false
}

// trend is the common slope of the ln session values on time within the setups,
// in percent a day with its interval (least squares, n − 3 degrees of freedom).
// ok is false if the sessions of each setup lie too close in time to tell.
func (st *study) trend(a analysis) (slope, low, high float64, ok bool) {
	order := st.timeOrder(a)
	df := len(order) - 3 // two levels and the slope
	if df < 1 || a.arithmetic {
		return 0, 0, 0, false
	}
	x, y := withinSetups(order)
	var sxx, sxy, rss float64
	for i := range x {
		sxx += x[i] * x[i]
		sxy += x[i] * y[i]
	}
	if !(sxx > 0.5) { // hours within a day say nothing about days
		return 0, 0, 0, false
	}
	b := sxy / sxx
	for i := range x {
		rss += (y[i] - b*x[i]) * (y[i] - b*x[i])
	}
	q := tQuantile(1-(1-st.in.Confidence)/2, float64(df)) * math.Sqrt(rss/float64(df)/sxx)
	slope, low, high = 100*math.Expm1(b), 100*math.Expm1(b-q), 100*math.Expm1(b+q)
	return slope, low, high, isFinite(slope) && isFinite(low) && isFinite(high)
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
