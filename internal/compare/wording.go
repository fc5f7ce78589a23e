package compare

import (
	"fmt"
	"math"
	"strings"
)

// why says in plain sentences what the verdict is and what it rests on.
func (st *study) why(res Result, a analysis, d decision) string {
	if d.verdict == TooLittleData {
		return st.whyTooLittle(res, a)
	}
	lines := []string{st.finding(a), st.reading(res, a, d)}
	if d.trend != "" {
		lines = append(lines, d.trend)
	}
	if d.restsOnModel {
		lines = append(lines, "So few sessions cannot confirm it by relabelling: it rests on sessions spreading log-normally, so go on measuring.")
	}
	return strings.Join(lines, " ")
}

// finding is the ratio and its interval in words.
func (st *study) finding(a analysis) string {
	if math.IsNaN(a.pointRatio()) {
		if a.value[before] > 0 {
			return "The levels are far beyond what air can hold: check the sensor."
		}
		return fmt.Sprintf("%s under “%s” was not above the background, so there is nothing that “%s” could have reduced.",
			st.in.Metric.Label(), st.in.Before, st.in.After)
	}
	level := "was "
	if st.subtracted(a) > 0 {
		level = "above the background was "
	}
	text := fmt.Sprintf("%s %s%s under “%s” %s under “%s”, from %s.", st.in.Metric.Label(), level,
		change(a.pointRatio()), st.in.After, than(a.pointRatio()), st.in.Before, counts(a))
	if math.IsNaN(a.low) || math.IsNaN(a.high) {
		return text + " The old level is too unsure for an interval."
	}
	return strings.TrimSuffix(text, ".") + fmt.Sprintf(" (%s %% interval: %s).", percent(100*st.in.Confidence), interval(a.low, a.high))
}

// reading says why the interval leads to the verdict.
func (st *study) reading(res Result, a analysis, d decision) string {
	smallest := percent(st.in.SmallestChangePercent)
	switch {
	case math.IsNaN(a.pointRatio()):
		return "No reduction is shown."
	case math.IsNaN(a.low):
		return "Without one no reduction is shown, which is not the same as no reduction." + st.moreSessions(res, a)
	case d.hangsOn != "":
		return fmt.Sprintf("The answer hangs on %s, so no reduction is shown; that is not the same as no reduction.%s", d.hangsOn, st.moreSessions(res, a))
	case d.withheld != "":
		return fmt.Sprintf("Dealing the same values out at random gives as large a difference in %s %% of cases, too often for a claim: no reduction is shown, which is not the same as no reduction.%s",
			percent(100*a.perm.P), st.moreSessions(res, a))
	case d.trendBars:
		return fmt.Sprintf("The interval alone would say “%s”, but with the trend within the setups taken out the reduction stays below the smallest set to matter (%s %%): its size is uncertain.", ReducedEnough, smallest)
	}
	switch d.verdict {
	case ReducedEnough:
		return fmt.Sprintf("Even the cautious end of the interval reaches the smallest reduction set to matter (%s %%).", smallest)
	case ReducedLess:
		return fmt.Sprintf("There is a reduction, but the whole interval stays below the smallest reduction set to matter (%s %%).", smallest)
	case ReducedUncertain:
		return fmt.Sprintf("There is a reduction, but the interval leaves open whether it reaches the smallest reduction set to matter (%s %%).", smallest)
	case Increased:
		return "The whole interval lies above no change: there was more dust, not less."
	case NoneThatMatters:
		return fmt.Sprintf("The interval rules out the smallest reduction set to matter (%s %%).", smallest)
	}
	return fmt.Sprintf("The interval includes no change and also a reduction of %s %%: no reduction is shown, which is not the same as no reduction.%s", smallest, st.moreSessions(res, a))
}

// bigReduction is what a small study can hope to show.
const bigReduction = 70

// moreSessions tells what it takes to show the smallest change that matters.
func (st *study) moreSessions(res Result, a analysis) string {
	if res.SessionsNeeded == nil {
		return ""
	}
	unit, where := "session", " under each setup"
	if a.paired {
		unit, where = "day", " with both setups"
	}
	smallest := percent(res.SmallestChange)
	if *res.MoreSessions == 0 {
		return fmt.Sprintf(" With this spread %s show a true reduction of %s %% four times out of five; there are as many, and it did not show.", many(*res.SessionsNeeded, unit)+where, smallest)
	}
	text := fmt.Sprintf(" About %s would show a true reduction of %s %% four times out of five", many(*res.MoreSessions, "more "+unit)+where, smallest)
	if big, ok := st.sessionsFor(bigReduction, a); ok && big < *res.SessionsNeeded && res.SmallestChange < bigReduction {
		text += fmt.Sprintf("; one of %d %% takes about %d in all", bigReduction, big)
	}
	return text + "."
}

// whyTooLittle names the first thing that is missing.
func (st *study) whyTooLittle(res Result, a analysis) string {
	text := st.missing(a)
	if a.hasPoint() && !a.noSpread {
		if r := a.pointRatio(); !math.IsNaN(r) {
			text += fmt.Sprintf(" So far %s was %s %s before; take that as a hint, not a result.", st.in.Metric.Label(), change(r), than(r))
		}
	}
	if !a.noSpread {
		text += st.moreSessions(res, a)
	}
	return text
}

func (st *study) missing(a analysis) string {
	var seen, kept [sides]int
	for _, x := range st.sessions {
		seen[x.side]++
		if x.why == "" {
			kept[x.side]++
		}
	}
	names := [sides]string{st.in.Before, st.in.After}
	for side := range sides {
		if seen[side] == 0 {
			return fmt.Sprintf("There is no measured work under “%s”.", names[side])
		}
	}
	if st.noDiary {
		return sentence(noDiaryWhy(st.in) + ": note tasks with `dustlog task`")
	}
	for side := range sides {
		if kept[side] == 0 {
			return fmt.Sprintf("None of the sessions under “%s” can be used; the exclusions say why.", names[side])
		}
	}
	switch {
	case a.noSpread:
		return "The sessions do not differ at all, which real air never does, so no interval can be computed: check that the sensor is not stuck."
	case !a.hasPoint():
		return "No task was done under both setups, so the setups cannot be told apart from the tasks."
	}
	return fmt.Sprintf("An interval needs at least %d sessions under each setup, and only %s can be used.", fewestSessions, counts(a))
}

// sentence makes one of a clause.
func sentence(clause string) string {
	return strings.ToUpper(clause[:1]) + clause[1:] + "."
}

func counts(a analysis) string {
	if a.paired {
		return many(a.n[before], "day") + " with both setups"
	}
	return fmt.Sprintf("%s before and %d after", many(a.n[before], "session"), a.n[after])
}

// many is a number of things.
func many(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// signed is a number with its sign, a true minus, and none before a zero.
func signed(x float64) string {
	x = math.Round(10*x) / 10
	switch {
	case x > 0:
		return fmt.Sprintf("+%.1f", x)
	case x < 0:
		return fmt.Sprintf("−%.1f", -x)
	}
	return "0.0"
}

// change is a ratio in words.
func change(ratio float64) string {
	p := math.Round(100 * (ratio - 1))
	switch {
	case math.IsNaN(ratio):
		return "not comparable"
	case p == 0:
		return "about the same"
	case ratio < 0.01:
		return "more than 99 % lower"
	case ratio < 1:
		return percent(-p) + " % lower"
	case ratio < 2:
		return percent(p) + " % higher"
	}
	return times(ratio)
}

// times is a ratio of two or more in words; nobody needs the digits of an absurd one.
func times(ratio float64) string {
	if ratio > 1000 {
		return "more than 1000 times as high"
	}
	return fmt.Sprintf("%.1f times as high", ratio)
}

// than is the word that goes with change.
func than(ratio float64) string {
	if p := math.Round(100 * (ratio - 1)); p == 0 || ratio >= 2 {
		return "as"
	}
	return "than"
}

// interval is a range of ratios in words. It never rounds a limit across 1.
func interval(low, high float64) string {
	switch {
	case high < 1:
		return fmt.Sprintf("%s to %s %% lower", whole(1-high), whole(1-low))
	case low > 1:
		return fmt.Sprintf("%s to %s %% higher", whole(low-1), whole(high-1))
	}
	return fmt.Sprintf("from %s %% lower to %s %% higher", whole(1-low), whole(high-1))
}

// whole is a share in percent without decimals, or with one below 1 %.
func whole(share float64) string {
	p := 100 * share
	switch {
	case p > 0 && p < 1:
		return fmt.Sprintf("%.1f", p)
	case p > 99 && p <= 100: // nothing is ever all gone
		return "more than 99"
	case p > 10_000:
		return "more than 10000"
	}
	return fmt.Sprintf("%.0f", p)
}

func percent(p float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.1f", p), "0"), ".")
}

// methodText names what was computed, for the record.
func methodText(st *study, a analysis) string {
	parts := []string{runStep(st, a)}
	if st.noDiary {
		parts = []string{"run value: time-weighted mean of the day's measured time under one setup, for want of a diary"}
	}
	level := fmt.Sprintf("%s %%", percent(100*st.in.Confidence))
	switch {
	case st.noDiary:
		return strings.Join(append(parts, "session value: "+a.meanKind()+" of its runs", "no interval and no test, for want of a diary"), "; ")
	case a.arithmetic:
		parts = append(parts, "session value: arithmetic mean of its runs, since more than 20 % of runs are not told from the background",
			"ratio of arithmetic means after/before, Fieller interval "+level)
	case a.paired:
		parts = append(parts, sessionStep, "one ln difference per day with both setups, Student t interval "+level)
	default:
		parts = append(parts, sessionStep, "Welch t interval "+level+" on ln session values")
	}
	parts = append(parts, permutationText(a))
	if a.background.u > 0 {
		parts = append(parts, "the background's own error widens the interval")
	}
	if u := st.drift().u; u > 0 {
		text := fmt.Sprintf("a drift of %s %% widens the interval", percent(100*math.Expm1(u)))
		if st.in.DriftSource != "" {
			text += " (" + st.in.DriftSource + ")"
		}
		parts = append(parts, text)
	} else {
		parts = append(parts, "sensor drift is not included in the interval")
	}
	return strings.Join(parts, "; ")
}

// runStep says what the value of a run is.
func runStep(st *study, a analysis) string {
	if st.subtracted(a) == 0 {
		return "run value: time-weighted mean of one diary task, nothing subtracted"
	}
	text := "run value: dose of one diary task above the background (" + groundNames[a.ground.kind] + ") over its length"
	for _, n := range a.nets {
		if n.tail {
			text += ", the tail to the next task (at most 15 min) counted in"
			break
		}
	}
	if r := a.ground.clearance; slowest(r) > 0 {
		text += fmt.Sprintf(", what the run before left taken out (clearance %.3g and %.3g per hour)", r[before].PerHour, r[after].PerHour)
	}
	return text
}

const sessionStep = "session value: least squares ln(run) = session + task, at the common task mix"

func permutationText(a analysis) string {
	switch {
	case a.perm.Arrangements == 0:
		return "no permutation test"
	case a.perm.Sampled:
		return fmt.Sprintf("permutation test on %d random relabellings (fixed seed)", a.perm.Arrangements)
	}
	return fmt.Sprintf("exact permutation test on all %d relabellings", a.perm.Arrangements)
}
