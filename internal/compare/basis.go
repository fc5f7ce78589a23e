package compare

import (
	"math"
	"time"

	"dustlog/internal/words"
)

// fillBasis shows the comparison of the plain run means beside that of the net
// ones and says which of them decides.
func (st *study) fillBasis(res *Result, q quantity, a analysis) {
	raw := st.row(q, st.analyse(q, rules{raw: true}))
	raw.Note = words.Of("mean over the run as measured")
	res.Raw, res.Primary = raw, RawBasis
	res.Background = st.backgroundOf(q, a)
	if st.subtracted(a) == 0 {
		res.PrimaryWhy = words.Of("no background is known, so nothing could be subtracted: dust from outside pulls this ratio towards 1")
		return
	}
	net := st.row(q, a)
	net.Note = netNote(res.Background, a.ground.kind, st.subtracted(a))
	res.Net, res.Primary = &net, NetBasis
	res.PrimaryWhy = words.Of("the air of the shop holds dust that the work did not make; only what lies above it can answer to the change")
}

// row is an analysis as a row of a table.
func (st *study) row(q quantity, a analysis) Effect {
	row := Effect{
		Metric: q.metric, Label: q.label, Unit: q.unit, NBefore: a.n[before], NAfter: a.n[after],
		MeanKind: a.meanKind(), Ratio: ptr(a.pointRatio()), CILow: ptr(a.low), CIHigh: ptr(a.high), PValue: ptr(a.p),
	}
	if a.n[before] > 0 {
		row.Before = ptr(a.level(before))
	}
	if a.n[after] > 0 {
		row.After = ptr(a.level(after))
	}
	return row
}

// text says what is taken for the background.
func (k groundKind) text() words.Text {
	switch k {
	case readGround:
		return words.Of("as the background sensor reads")
	case offsetGround:
		return words.Of("background sensor + offset")
	case lineGround:
		return words.Of("line on the background sensor")
	case constantGround:
		return words.Of("constant")
	}
	return words.Of("none")
}

func (st *study) backgroundOf(q quantity, a analysis) Background {
	g := a.ground
	b := Background{Kind: g.kind.text(), IdleMinutes: g.minutes, Independent: g.n, LOQ: a.loq}
	if g.kind == noGround || st.subtracted(a) == 0 {
		b.Kind = noGround.text()
		return b
	}
	b.Intercept = ptr(g.a)
	outside := 0.0
	if g.kind != constantGround {
		b.Slope = ptr(g.b)
		outside = st.usualOutside(q)
	}
	if g.kind != readGround {
		b.Uncertainty = ptr(math.Sqrt(g.variance(outside)))
	}
	for i, n := range a.nets {
		if a.in[i] && n.cleared {
			b.RunsCleared++
		}
		if a.in[i] && n.tail {
			b.RunsWithTails++
		}
	}
	if b.RunsCleared > 0 {
		b.ClearanceOld, b.ClearanceNew = ptr(g.clearance[before].PerHour), ptr(g.clearance[after].PerHour)
	}
	return b
}

// usualOutside is the median level at the background sensor during runs.
func (st *study) usualOutside(q quantity) float64 {
	var x []float64
	for _, r := range st.runs {
		if out := q.outside(r.start, r.stop, r.needBackground); !math.IsNaN(out) {
			x = append(x, out)
		}
	}
	return median(x)
}

// netNote says in words what was done to the net means.
func netNote(b Background, kind groundKind, runs int) words.Text {
	parts := []words.Text{words.Of("above the background (%s)", kind.text())}
	if b.RunsWithTails > 0 {
		parts = append(parts, words.Plural(runs, "with the dust of up to %.0[2]f min after the run in %[3]d of %[1]d run", "with the dust of up to %.0[2]f min after the run in %[3]d of %[1]d runs", runs, longestTail.Minutes(), b.RunsWithTails))
	}
	if b.RunsCleared > 0 {
		parts = append(parts, words.Of("less what the run before left in %d of them", b.RunsCleared))
	}
	return words.JoinSaid(", ", parts...)
}

// leftOverWarning says where dust of the run before may still be in a run.
func (st *study) leftOverWarning(a analysis) words.Text {
	if a.ground.kind == noGround {
		return words.Text{}
	}
	var late, close int
	for i, r := range st.runs {
		if !a.in[i] {
			continue
		}
		switch {
		case !a.nets[i].cleared && r.idle < st.waitFor(a.ground, r.side):
			late++
		case a.nets[i].cleared && r.idle < leastLeadIn:
			close++
		}
	}
	switch {
	case late > 0 && slowest(a.ground.clearance) > 0:
		return words.Plural(late, "in %d run what the run before left could not be taken out: no readings just before", "in %d runs what the run before left could not be taken out: no readings just before", late)
	case late > 0:
		return words.Plural(late, "how fast the air clears is not known, so dust of the run before is in %d run that began within %.0f min of it: let the sensor run after work, or leave time between runs",
			"how fast the air clears is not known, so dust of the run before is in %d runs that began within %.0f min of it: let the sensor run after work, or leave time between runs", late, unknownWait.Minutes())
	case close > 0:
		return words.Plural(close, "%d run began right after another: the level at the start was taken from the first seconds", "%d runs began right after another: the level at the start was taken from the first seconds", close)
	}
	return words.Text{}
}

// waitFor is how long air takes to clear.
func (st *study) waitFor(g *ground, s side) time.Duration {
	if perHour := g.clearance[s].PerHour; perHour > 0 {
		return time.Duration(clearingTimes / perHour * float64(time.Hour))
	}
	return unknownWait
}

func (st *study) fillUncertainty(res *Result, a analysis) {
	drift := st.drift()
	res.Uncertainty = Uncertainty{Background: a.background.u}
	if drift.u > 0 {
		res.Uncertainty.Drift, res.Uncertainty.DriftSource = drift.u, st.in.DriftSource
	}
	if a.ok && !a.arithmetic {
		res.Uncertainty.Sessions = ptr(a.sessions.u)
		res.Uncertainty.Total, res.Uncertainty.DF = ptr(a.ratio.SE), ptr(a.ratio.DF)
	}
}
