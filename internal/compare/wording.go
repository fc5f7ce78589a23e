package compare

import (
	"fmt"
	"math"
	"strings"

	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// why says in plain sentences what the verdict is and what it rests on.
func (st *study) why(res Result, a analysis, d decision) words.Text {
	if d.verdict == TooLittleData {
		return st.whyTooLittle(res, a)
	}
	lines := []words.Text{st.finding(a), st.reading(res, a, d), d.trend}
	if d.restsOnModel {
		lines = append(lines, words.Of("So few sessions cannot confirm it by relabelling: it rests on sessions spreading log-normally, so go on measuring."))
	}
	return sentences(lines...)
}

// sentences joins those that say something.
func sentences(lines ...words.Text) words.Text { return words.JoinSaid(" ", lines...) }

// metricText names what is compared.
func (st *study) metricText() words.Text { return exposure.ChannelText(st.in.Metric) }

// finding is the ratio and its interval in words.
func (st *study) finding(a analysis) words.Text {
	ratio := a.pointRatio()
	if math.IsNaN(ratio) {
		if a.value[before] > 0 {
			return words.Of("The levels are far beyond what air can hold: check the sensor.")
		}
		return words.Of("%s under “%s” was not above the background, so there is nothing that “%s” could have reduced.",
			st.metricText(), st.in.Before, st.in.After)
	}
	text := words.Of("%s was %s under “%s” %s under “%s”, from %s", st.metricText(), change(ratio), st.in.After, than(ratio), st.in.Before, counts(a))
	if st.subtracted(a) > 0 {
		text = words.Of("%s above the background was %s under “%s” %s under “%s”, from %s", st.metricText(), change(ratio), st.in.After, than(ratio), st.in.Before, counts(a))
	}
	if math.IsNaN(a.low) || math.IsNaN(a.high) {
		return words.Of("%s. The old level is too unsure for an interval.", text)
	}
	return words.Of("%s (%s %% interval: %s).", text, percent(100*st.in.Confidence), interval(a.low, a.high))
}

// reading says why the interval leads to the verdict.
func (st *study) reading(res Result, a analysis, d decision) words.Text {
	smallest := percent(st.in.SmallestChangePercent)
	switch {
	case math.IsNaN(a.pointRatio()):
		return words.Of("No reduction is shown.")
	case math.IsNaN(a.low):
		return sentences(words.Of("Without one no reduction is shown, which is not the same as no reduction."), st.moreSessions(res, a))
	case !d.hangsOn.IsZero():
		return sentences(words.Of("The answer hangs on %s, so no reduction is shown; that is not the same as no reduction.", d.hangsOn), st.moreSessions(res, a))
	case d.withheld != "":
		return sentences(words.Of("Dealing the same values out at random gives as large a difference in %s %% of cases, too often for a claim: no reduction is shown, which is not the same as no reduction.",
			percent(100*a.perm.P)), st.moreSessions(res, a))
	case d.trendBars:
		return words.Of("The interval alone would say “%s”, but with the trend within the setups taken out the reduction stays below the smallest set to matter (%s %%): its size is uncertain.", ReducedEnough.Text(), smallest)
	}
	switch d.verdict {
	case ReducedEnough:
		return words.Of("Even the cautious end of the interval reaches the smallest reduction set to matter (%s %%).", smallest)
	case ReducedLess:
		return words.Of("There is a reduction, but the whole interval stays below the smallest reduction set to matter (%s %%).", smallest)
	case ReducedUncertain:
		return words.Of("There is a reduction, but the interval leaves open whether it reaches the smallest reduction set to matter (%s %%).", smallest)
	case Increased:
		return words.Of("The whole interval lies above no change: there was more dust, not less.")
	case NoneThatMatters:
		return words.Of("The interval rules out the smallest reduction set to matter (%s %%).", smallest)
	}
	return sentences(words.Of("The interval includes no change and also a reduction of %s %%: no reduction is shown, which is not the same as no reduction.", smallest), st.moreSessions(res, a))
}

// bigReduction is what a small study can hope to show.
const bigReduction = 70

// moreSessions tells what it takes to show the smallest change that matters.
func (st *study) moreSessions(res Result, a analysis) words.Text {
	if res.SessionsNeeded == nil {
		return words.Text{}
	}
	smallest := percent(res.SmallestChange)
	if *res.MoreSessions == 0 {
		n := *res.SessionsNeeded
		needed := words.Plural(n, "%d session under each setup", "%d sessions under each setup", n)
		if a.paired {
			needed = pairedDays(n)
		}
		return words.Of("With this spread %s show a true reduction of %s %% four times out of five; there are as many, and it did not show.", needed, smallest)
	}
	n := *res.MoreSessions
	more := words.Plural(n, "%d more session under each setup", "%d more sessions under each setup", n)
	if a.paired {
		more = words.Plural(n, "%d more day with both setups", "%d more days with both setups", n)
	}
	text := words.Of("About %s would show a true reduction of %s %% four times out of five", more, smallest)
	if big, ok := st.sessionsFor(bigReduction, a); ok && big < *res.SessionsNeeded && res.SmallestChange < bigReduction {
		text = words.Of("%s; one of %d %% takes about %d in all", text, bigReduction, big)
	}
	return words.Join("", text, words.Literal("."))
}

// whyTooLittle names the first thing that is missing.
func (st *study) whyTooLittle(res Result, a analysis) words.Text {
	lines := []words.Text{st.missing(a)}
	if a.hasPoint() && !a.noSpread {
		if r := a.pointRatio(); !math.IsNaN(r) {
			lines = append(lines, words.Of("So far %s was %s %s before; take that as a hint, not a result.", st.metricText(), change(r), than(r)))
		}
	}
	if !a.noSpread {
		lines = append(lines, st.moreSessions(res, a))
	}
	return sentences(lines...)
}

func (st *study) missing(a analysis) words.Text {
	var seen, kept [sides]int
	for _, x := range st.sessions {
		seen[x.side]++
		if x.why.IsZero() {
			kept[x.side]++
		}
	}
	names := [sides]string{st.in.Before, st.in.After}
	for side := range sides {
		if seen[side] == 0 {
			return words.Of("There is no measured work under “%s”.", names[side])
		}
	}
	if st.noDiary {
		return words.Of("%s: note tasks with `dustlog task`", noDiaryWhy(st.in)).Sentence()
	}
	for side := range sides {
		if kept[side] == 0 {
			return words.Of("None of the sessions under “%s” can be used; the exclusions say why.", names[side])
		}
	}
	switch {
	case a.noSpread:
		return words.Of("The sessions do not differ at all, which real air never does, so no interval can be computed: check that the sensor is not stuck.")
	case !a.hasPoint():
		return words.Of("No task was done under both setups, so the setups cannot be told apart from the tasks.")
	}
	return words.Of("An interval needs at least %d sessions under each setup, and only %s can be used.", fewestSessions, counts(a))
}

func counts(a analysis) words.Text {
	if a.paired {
		return pairedDays(a.n[before])
	}
	return words.Of("%s before and %d after", sessionCount(a.n[before]), a.n[after])
}

func pairedDays(n int) words.Text {
	return words.Plural(n, "%d day with both setups", "%d days with both setups", n)
}

func sessionCount(n int) words.Text { return words.Plural(n, "%d session", "%d sessions", n) }

func runCount(n int) words.Text { return words.Plural(n, "%d run", "%d runs", n) }

// signed is a number with its sign, a true minus, and none before a zero.
func signed(x float64) words.Number {
	x = math.Round(10*x) / 10
	switch {
	case x > 0:
		return "+" + words.Fixed(x, 1)
	case x < 0:
		return "−" + words.Fixed(-x, 1)
	}
	return "0.0"
}

// change is a ratio in words.
func change(ratio float64) words.Text {
	p := math.Round(100 * (ratio - 1))
	switch {
	case math.IsNaN(ratio):
		return words.Of("not comparable")
	case p == 0:
		return words.Of("about the same")
	case ratio < 0.01:
		return words.Of("more than 99 %% lower")
	case ratio < 1:
		return words.Of("%s %% lower", percent(-p))
	case ratio < 2:
		return words.Of("%s %% higher", percent(p))
	}
	return times(ratio)
}

// times is a ratio of two or more in words; nobody needs the digits of an absurd one.
func times(ratio float64) words.Text {
	if ratio > 1000 {
		return words.Of("more than 1000 times as high")
	}
	return words.Of("%.1f times as high", ratio)
}

// than is the word that goes with change.
func than(ratio float64) words.Text {
	if p := math.Round(100 * (ratio - 1)); p == 0 || ratio >= 2 {
		return words.Of("as")
	}
	return words.Of("than")
}

// interval is a range of ratios in words. It never rounds a limit across 1.
func interval(low, high float64) words.Text {
	switch {
	case high < 1:
		return words.Of("%s to %s %% lower", whole(1-high), whole(1-low))
	case low > 1:
		return words.Of("%s to %s %% higher", whole(low-1), whole(high-1))
	}
	return words.Of("from %s %% lower to %s %% higher", whole(1-low), whole(high-1))
}

// whole is a share in percent without decimals, or with one below 1 %.
func whole(share float64) words.Text {
	p := 100 * share
	switch {
	case p > 0 && p < 1:
		return words.Fixed(p, 1).Text()
	case p > 99 && p <= 100: // nothing is ever all gone
		return words.Of("more than 99")
	case p > 10_000:
		return words.Of("more than 10000")
	}
	return words.Fixed(p, 0).Text()
}

func percent(p float64) words.Number {
	return words.Number(strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.1f", p), "0"), "."))
}

// methodText names what was computed, for the record.
func methodText(st *study, a analysis) words.Text {
	level := percent(100 * st.in.Confidence)
	if st.noDiary {
		return words.JoinSaid("; ",
			words.Of("run value: time-weighted mean of the day's measured time under one setup, for want of a diary"),
			words.Of("session value: %s of its runs", MeanText(a.meanKind())),
			words.Of("no interval and no test, for want of a diary"))
	}
	parts := []words.Text{runStep(st, a)}
	switch {
	case a.arithmetic:
		parts = append(parts, words.Of("session value: arithmetic mean of its runs, since more than 20 %% of runs are not told from the background"),
			words.Of("ratio of arithmetic means after/before, Fieller interval %s %%", level))
	case a.paired:
		parts = append(parts, sessionStep(), words.Of("one ln difference per day with both setups, Student t interval %s %%", level))
	default:
		parts = append(parts, sessionStep(), words.Of("Welch t interval %s %% on ln session values", level))
	}
	parts = append(parts, permutationText(a))
	if a.background.u > 0 {
		parts = append(parts, words.Of("the background's own error widens the interval"))
	}
	u := st.drift().u
	drift := percent(100 * math.Expm1(u))
	switch {
	case u > 0 && !st.in.DriftSource.IsZero():
		parts = append(parts, words.Of("a drift of %s %% widens the interval (%s)", drift, st.in.DriftSource))
	case u > 0:
		parts = append(parts, words.Of("a drift of %s %% widens the interval", drift))
	default:
		parts = append(parts, words.Of("sensor drift is not included in the interval"))
	}
	return words.JoinSaid("; ", parts...)
}

// runStep says what the value of a run is.
func runStep(st *study, a analysis) words.Text {
	if st.subtracted(a) == 0 {
		return words.Of("run value: time-weighted mean of one diary task, nothing subtracted")
	}
	parts := []words.Text{words.Of("run value: dose of one diary task above the background (%s) over its length", a.ground.kind.text())}
	for _, n := range a.nets {
		if n.tail {
			parts = append(parts, words.Of("the tail to the next task (at most 15 min) counted in"))
			break
		}
	}
	if r := a.ground.clearance; slowest(r) > 0 {
		parts = append(parts, words.Of("what the run before left taken out (clearance %.3g and %.3g per hour)", r[before].PerHour, r[after].PerHour))
	}
	return words.JoinSaid(", ", parts...)
}

func sessionStep() words.Text {
	return words.Of("session value: least squares ln(run) = session + task, at the common task mix")
}

func permutationText(a analysis) words.Text {
	switch {
	case a.perm.Arrangements == 0:
		return words.Of("no permutation test")
	case a.perm.Sampled:
		return words.Of("permutation test on %d random relabellings (fixed seed)", a.perm.Arrangements)
	}
	return words.Of("exact permutation test on all %d relabellings", a.perm.Arrangements)
}

// Text says the verdict.
func (v Verdict) Text() words.Text {
	switch v {
	case Increased:
		return words.Of("increased")
	case ReducedEnough:
		return words.Of("reduced enough")
	case ReducedLess:
		return words.Of("reduced, but less than matters")
	case ReducedUncertain:
		return words.Of("reduced, size uncertain")
	case NoneThatMatters:
		return words.Of("no reduction that matters")
	case NoReductionShown:
		return words.Of("no reduction shown")
	case TooLittleData:
		return words.Of("too little data")
	}
	return words.Literal(string(v))
}

// MeanText says which mean a level is.
func MeanText(kind string) words.Text {
	switch kind {
	case GeometricMean:
		return words.Of("geometric mean")
	case ArithmeticMean:
		return words.Of("arithmetic mean")
	}
	return words.Literal(kind)
}

// UnitText names one unit of replication.
func (r Result) UnitText() words.Text {
	if r.UnitOfReplication == pairedDay {
		return words.Of("paired day")
	}
	return words.Of("session")
}

// UnitsText names the units of replication.
func (r Result) UnitsText() words.Text {
	if r.UnitOfReplication == pairedDay {
		return words.Of("paired days")
	}
	return words.Of("sessions")
}
