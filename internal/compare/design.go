package compare

import (
	"math"
	"time"

	"dustlog/internal/words"
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

// design is designGrade, but D without a diary: then no order keeps the change
// apart from the hours worked.
func (st *study) design(order []placed) (grade string, why words.Text) {
	if st.noDiary {
		return "D", words.Of("%s: nothing tells the change apart from longer or shorter work", noDiaryWhy(st.in))
	}
	grade, why = designGrade(order)
	switch {
	case grade == "D" || st.in.PlanSeed == 0:
		return grade, why
	case st.asDrawn():
		return "A", words.Of("the sessions came in the order drawn beforehand, so neither drift nor anyone's choice of days favours a setup")
	}
	return grade, words.Of("%s; the sessions did not come in the order of the plan", why)
}

// lowerDesign takes the grade down for what else was not alike.
func (r *Result) lowerDesign() {
	if len(r.Confounders) == 0 {
		return
	}
	r.Design = lowered(r.DesignByOrder, r.Confounders)
	var what []words.Text
	for _, c := range r.Confounders {
		what = append(what, c.WhatText())
	}
	if r.Design != r.DesignByOrder {
		r.DesignWhy = words.Of("%s; %s by the order of sessions, lower since these were not alike: %s", r.DesignWhy, r.DesignByOrder, words.Join(", ", what...))
	}
}

// noDiaryWhy says why there is no verdict, as the start of a sentence.
func noDiaryWhy(in Input) words.Text {
	if len(in.Tasks) == 0 {
		return words.Of("there is no diary, so working time and dust cannot be told apart")
	}
	return words.Of("no task of the diary lies under these setups, so working time and dust cannot be told apart")
}

// designGrade grades how well the order of sessions keeps the change apart from
// everything else that time brings: B alternated, C before/after, D single records.
// A needs an order drawn at random beforehand, which readings cannot show: see
// asDrawn.
func designGrade(order []placed) (grade string, why words.Text) {
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
		return "D", words.Of("one record or none of a setup: nothing tells the change apart from what else was different that day")
	}
	// Two blocks one after the other are half of all sessions apart on average.
	apart := math.Abs(rank[before]/float64(n[before])-rank[after]/float64(n[after])) / (float64(len(order)) / 2)
	if switches < 2 || apart > 0.5 {
		return "C", words.Of("one setup came first and the other after it: season, wood, sensor drift or habit may have changed with it")
	}
	why = words.Of("the setups took turns, %d changes over %d sessions, so slow drift falls on both", switches, len(order))
	switch first, same := sameFirst(order); {
	case same && first == before:
		why = words.Of("%s; but the old setup came first every day, so the time of day may play a part", why)
	case same:
		why = words.Of("%s; but the new setup came first every day, so the time of day may play a part", why)
	}
	return "B", why
}

// sameFirst reports whether, of the days with both setups, all began with the same one.
func sameFirst(order []placed) (first side, same bool) {
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
		return before, true
	case n[after] >= 2 && n[before] == 0:
		return after, true
	}
	return before, false
}
