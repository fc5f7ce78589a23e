package compare

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"dustlog/internal/dust"
)

// warnings lists what a reader should know before believing the result.
func (st *study) warnings(q quantity, a analysis, res Result, order []placed) []string {
	var list []string
	add := func(text string) {
		if text != "" {
			list = append(list, text)
		}
	}
	if st.noDiary {
		add("no task of the diary lies under these setups: idle time counts as work, and unequal tasks cannot be repaired")
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
		add(fmt.Sprintf("the sensor may have drifted by %s %%: more than 10 %% between two checks says clean it or replace it", percent(100*math.Expm1(st.in.DriftU))))
	}
	add(st.coverageWarning(res))
	add(positionWarning(st.in.series(st.in.Metric).Sensor.Position))
	if a.pooledDays {
		add("several sessions under one setup on a day without the other setup count as one: they share that day")
	}
	if a.perm.Sampled {
		add(fmt.Sprintf("too many relabellings to try all: the permutation p comes from %d random ones with a fixed seed", a.perm.Arrangements))
	}
	return list
}

func (st *study) backgroundWarning(q quantity, a analysis) string {
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
		return ""
	case a.ground.kind == constantGround:
		return "no background sensor: a constant background from idle minutes was subtracted, so dust from outside that changes is still in the result"
	case !q.hasBackground():
		return "no background sensor and no idle minutes: nothing was subtracted, so dust from outside pulls the ratio towards 1"
	case own[before]+own[after] == 0:
		return "the background sensor covers none of the runs: nothing was subtracted, so dust from outside pulls the ratio towards 1"
	case own[before] == 0 || own[after] == 0:
		return "the background was measured under one setup only and taken to be the same under the other: outdoor air may account for part of the change"
	case total > 0:
		return fmt.Sprintf("%d of %s have no background of their own; the median of the others was subtracted", total, many(runs, "run"))
	}
	return ""
}

func nonDetectWarning(unit string, a analysis) string {
	n := a.nonDetects[before] + a.nonDetects[after]
	if n == 0 {
		return ""
	}
	text := fmt.Sprintf("%s before and %d after are below %g %s above the background and cannot be told from it", many(a.nonDetects[before], "run"), a.nonDetects[after], a.loq, unit)
	if a.arithmetic {
		return text + ": the ratio is of arithmetic means, and the levels are not geometric means"
	}
	return text + fmt.Sprintf(": %g stands in for them before and %g after, which works against a claim", standIn(a.loq, before, false), standIn(a.loq, after, false))
}

func (st *study) saturationWarning(a analysis) string {
	var n [sides]int
	for i, r := range st.runs {
		if a.in[i] && r.measured.saturated > manySaturated*r.measured.seconds {
			n[r.side]++
		}
	}
	if n[before]+n[after] == 0 {
		return ""
	}
	return fmt.Sprintf("the sensor was at the top of its range for more than 1 %% of %s before and %d after: their means are “at least”, which hides part of a reduction", many(n[before], "run"), n[after])
}

// materialWarning names tasks whose materials under the two setups have nothing
// in common: the wood may account for the change.
func (st *study) materialWarning(a analysis) string {
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
		return ""
	}
	return "different materials before and after in " + strings.Join(odd, ", ") + ": part of the change may be the material"
}

// companyWarning says when runs of several persons share time.
func (st *study) companyWarning(a analysis) string {
	n := 0
	for i := 1; i < len(st.runs); i++ {
		if a.in[i] && a.in[i-1] && st.runs[i].start.Before(st.runs[i-1].stop) {
			n++
		}
	}
	if n == 0 {
		return ""
	}
	if n == 1 {
		return "1 run overlaps the one before: the sensor cannot tell which task the dust came from"
	}
	return fmt.Sprintf("%d runs overlap the one before: the sensor cannot tell which task the dust came from", n)
}

func orderWarning(res Result, order []placed) string {
	days := map[string]bool{}
	for _, p := range order {
		days[p.day] = true
	}
	switch {
	case len(order) > 2 && len(days) == 1:
		return "all sessions are from one day: the result speaks for that day only"
	case res.DesignByOrder == "C" && res.TrendPercentPerDay != nil:
		return fmt.Sprintf("before/after in one block each: look at the sessions against date; within the setups they change by %s %% a day (interval %s to %s)",
			signed(*res.TrendPercentPerDay), signed(*res.TrendLow), signed(*res.TrendHigh))
	case res.DesignByOrder == "C":
		return "before/after in one block each: look at the sessions against date, drift and season are in the ratio"
	}
	return ""
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

func driftWarning(res Result) string {
	if res.DesignByOrder != "C" {
		return ""
	}
	return fmt.Sprintf("a sensor that reads %d %% less each day lets %d %% of before/after studies of 5 and 5 sessions say “reduced” with no change at all, instead of %g %%; with setups taking turns it is %d %% (simulated)",
		DriftPerDayPercent, DriftInBlocksPercent, reducedByChancePercent, DriftInTurnsPercent)
}

func (st *study) coverageWarning(res Result) string {
	if !unevenlyExcluded(res.Coverage) {
		return ""
	}
	b, a := res.Coverage[before], res.Coverage[after]
	return fmt.Sprintf("more was left out under one setup than under the other (%d of %s before, %d of %d after): the comparison was repeated with everything in",
		b.RunsSeen-b.RunsKept, many(b.RunsSeen, "run"), a.RunsSeen-a.RunsKept, a.RunsSeen)
}

func positionWarning(p dust.Position) string {
	switch p {
	case dust.BreathingZone:
		return ""
	case "":
		return "the sensor's position is not known: nobody can say whom or what the result speaks for"
	case dust.Room:
		return "the sensor stood in the room: the result speaks for that place, not for the person at the machine"
	}
	return fmt.Sprintf("the sensor was at the position “%s”: the result does not speak for the person at the machine", p.Label())
}
