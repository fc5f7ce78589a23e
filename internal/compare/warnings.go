package compare

import (
	"maps"
	"math"
	"slices"
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// warnings lists what a reader should know before believing the result.
func (st *study) warnings(q quantity, a analysis, res Result, order []placed) []words.Text {
	var list []words.Text
	add := func(text words.Text) {
		if !text.IsZero() {
			list = append(list, text)
		}
	}
	if st.noDiary {
		add(words.Of("no task of the diary lies under these setups: idle time counts as work, and unequal tasks cannot be repaired"))
	}
	add(st.backgroundWarning(q, a))
	add(st.leftOverWarning(a))
	add(nonDetectWarning(q.unit, a))
	add(st.saturationWarning(a))
	for _, c := range res.Confounders {
		add(c.Why)
	}
	add(st.companyWarning(a))
	add(orderWarning(res, order))
	add(driftWarning(res))
	add(spikeWarning(res))
	if st.in.DriftU > manyDrift {
		add(words.Of("the sensor may have drifted by %s %%: more than 10 %% between two checks says clean it or replace it", percent(100*math.Expm1(st.in.DriftU))))
	}
	add(st.coverageWarning(res))
	add(positionWarning(st.in.series(st.in.Metric).Sensor.Position))
	if a.pooledDays {
		add(words.Of("several sessions under one setup on a day without the other setup count as one: they share that day"))
	}
	if a.perm.Sampled {
		add(words.Of("too many relabellings to try all: the permutation p comes from %d random ones with a fixed seed", a.perm.Arrangements))
	}
	return list
}

func (st *study) backgroundWarning(q quantity, a analysis) words.Text {
	runs, own, standIns := 0, [sides]int{}, [sides]int{}
	for i, r := range st.runs {
		if !a.in[i] {
			continue
		}
		runs++
		if a.nets[i].standIn {
			standIns[r.side]++
		} else if a.nets[i].background {
			own[r.side]++
		}
	}
	total := standIns[before] + standIns[after]
	switch {
	case runs == 0:
		return words.Text{}
	case a.ground.kind == constantGround:
		return words.Of("no background sensor: a constant background from idle minutes was subtracted, so dust from outside that changes is still in the result")
	case !q.hasBackground():
		return words.Of("no background sensor and no idle minutes: nothing was subtracted, so dust from outside pulls the ratio towards 1")
	case own[before]+own[after] == 0:
		return words.Of("the background sensor covers none of the runs: nothing was subtracted, so dust from outside pulls the ratio towards 1")
	case own[before] == 0 || own[after] == 0:
		return words.Of("the background was measured under one setup only and taken to be the same under the other: outdoor air may account for part of the change")
	case total > 0:
		return words.Plural(runs, "%[2]d of %[1]d run have no background of their own; the median of the others was subtracted", "%[2]d of %[1]d runs have no background of their own; the median of the others was subtracted", runs, total)
	}
	return words.Text{}
}

func nonDetectWarning(unit string, a analysis) words.Text {
	n := a.nonDetects[before] + a.nonDetects[after]
	if n == 0 {
		return words.Text{}
	}
	text := words.Of("%s before and %d after are below %g %s above the background and cannot be told from it", runCount(a.nonDetects[before]), a.nonDetects[after], a.loq, unit)
	if a.arithmetic {
		return words.Of("%s: the ratio is of arithmetic means, and the levels are not geometric means", text)
	}
	return words.Of("%s: %g stands in for them before and %g after, which works against a claim", text, standIn(a.loq, before, false), standIn(a.loq, after, false))
}

func (st *study) saturationWarning(a analysis) words.Text {
	var n [sides]int
	for i, r := range st.runs {
		if a.in[i] && r.measured.saturated > manySaturated*r.measured.seconds {
			n[r.side]++
		}
	}
	if n[before]+n[after] == 0 {
		return words.Text{}
	}
	return words.Of("the sensor was at the top of its range for more than 1 %% of %s before and %d after: their means are “at least”, which hides part of a reduction", runCount(n[before]), n[after])
}

// materialWarning names tasks whose materials under the two setups have nothing
// in common: the wood may account for the change.
func (st *study) materialWarning(a analysis) words.Text {
	type use [sides]map[string]bool
	tasks := map[string]use{}
	for i, r := range st.runs {
		if !a.in[i] || r.material == "" {
			continue
		}
		u, ok := tasks[r.task]
		if !ok {
			u = use{{}, {}}
			tasks[r.task] = u
		}
		u[r.side][r.material] = true
	}
	var odd []string
	for _, task := range slices.Sorted(maps.Keys(tasks)) {
		u := tasks[task]
		common := false
		for m := range u[before] {
			common = common || u[after][m]
		}
		if len(u[before]) > 0 && len(u[after]) > 0 && !common {
			odd = append(odd, task)
		}
	}
	if len(odd) == 0 {
		return words.Text{}
	}
	return words.Of("different materials before and after in %s: part of the change may be the material", strings.Join(odd, ", "))
}

// companyWarning says when runs of several persons share time.
func (st *study) companyWarning(a analysis) words.Text {
	n := 0
	for i := 1; i < len(st.runs); i++ {
		if a.in[i] && a.in[i-1] && st.runs[i].start.Before(st.runs[i-1].stop) {
			n++
		}
	}
	if n == 0 {
		return words.Text{}
	}
	return words.Plural(n, "%d run overlaps the one before: the sensor cannot tell which task the dust came from", "%d runs overlap the one before: the sensor cannot tell which task the dust came from", n)
}

func orderWarning(res Result, order []placed) words.Text {
	days := map[string]bool{}
	for _, p := range order {
		days[p.day] = true
	}
	switch {
	case len(order) > 2 && len(days) == 1:
		return words.Of("all sessions are from one day: the result speaks for that day only")
	case res.DesignByOrder == "C" && res.TrendPercentPerDay != nil:
		return words.Of("before/after in one block each: look at the sessions against date; within the setups they change by %s %% a day (interval %s to %s)",
			signed(*res.TrendPercentPerDay), signed(*res.TrendLow), signed(*res.TrendHigh))
	case res.DesignByOrder == "C":
		return words.Of("before/after in one block each: look at the sessions against date, drift and season are in the ratio")
	}
	return words.Text{}
}

// What a drifting sensor does to designs, in percent of studies without any change
// that say “reduced” by their interval: −5 % a day, five sessions each. From the
// simulations of package simulate, whose tests hold them against these.
const (
	DriftPerDayPercent     = 5
	DriftInBlocksPercent   = 11
	DriftInTurnsPercent    = 3
	reducedByChancePercent = 2.5
)

func driftWarning(res Result) words.Text {
	if res.DesignByOrder != "C" {
		return words.Text{}
	}
	return words.Of("a sensor that reads %d %% less each day lets %d %% of before/after studies of 5 and 5 sessions say “reduced” with no change at all, instead of %g %%; with setups taking turns it is %d %% (simulated)",
		DriftPerDayPercent, DriftInBlocksPercent, reducedByChancePercent, DriftInTurnsPercent)
}

func (st *study) coverageWarning(res Result) words.Text {
	if !unevenlyExcluded(res.Coverage) {
		return words.Text{}
	}
	b, a := res.Coverage[before], res.Coverage[after]
	return words.Plural(b.RunsSeen, "more was left out under one setup than under the other (%[2]d of %[1]d run before, %[3]d of %[4]d after): the comparison was repeated with everything in",
		"more was left out under one setup than under the other (%[2]d of %[1]d runs before, %[3]d of %[4]d after): the comparison was repeated with everything in",
		b.RunsSeen, b.RunsSeen-b.RunsKept, a.RunsSeen-a.RunsKept, a.RunsSeen)
}

func positionWarning(p dust.Position) words.Text {
	switch p {
	case dust.BreathingZone:
		return words.Text{}
	case "":
		return words.Of("the sensor's position is not known: nobody can say whom or what the result speaks for")
	case dust.Room:
		return words.Of("the sensor stood in the room: the result speaks for that place, not for the person at the machine")
	}
	return words.Of("the sensor was at the position “%s”: the result does not speak for the person at the machine", exposure.PositionText(p))
}
