package compare

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// fillBasis shows the comparison of the plain run means beside that of the net
// ones and says which of them decides.
func (st *study) fillBasis(res *Result, q quantity, a analysis) {
	raw := st.row(q, st.analyse(q, rules{raw: true}))
	raw.Note = "mean over the run as measured"
	res.Raw, res.Primary = raw, RawBasis
	res.Background = st.backgroundOf(q, a)
	if st.subtracted(a) == 0 {
		res.PrimaryWhy = "no background is known, so nothing could be subtracted: dust from outside pulls this ratio towards 1"
		return
	}
	net := st.row(q, a)
	net.Note = netNote(res.Background, st.subtracted(a))
	res.Net, res.Primary = &net, NetBasis
	res.PrimaryWhy = "the air of the shop holds dust that the work did not make; only what lies above it can answer to the change"
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

var groundNames = map[groundKind]string{
	noGround: "none", readGround: "as the background sensor reads", offsetGround: "background sensor + offset",
	lineGround: "line on the background sensor", constantGround: "constant",
}

func (st *study) backgroundOf(q quantity, a analysis) Background {
	g := a.ground
	b := Background{Kind: groundNames[g.kind], IdleMinutes: g.minutes, Independent: g.n, LOQ: a.loq}
	if g.kind == noGround || st.subtracted(a) == 0 {
		b.Kind = groundNames[noGround]
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
func netNote(b Background, runs int) string {
	parts := []string{"above the background (" + b.Kind + ")"}
	if b.RunsWithTails > 0 {
		parts = append(parts, fmt.Sprintf("with the dust of up to %.0f min after the run in %d of %s", longestTail.Minutes(), b.RunsWithTails, many(runs, "run")))
	}
	if b.RunsCleared > 0 {
		parts = append(parts, fmt.Sprintf("less what the run before left in %d of them", b.RunsCleared))
	}
	return strings.Join(parts, ", ")
}

// leftOverWarning says where dust of the run before may still be in a run.
func (st *study) leftOverWarning(a analysis) string {
	if a.ground.kind == noGround {
		return ""
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
		return fmt.Sprintf("in %s what the run before left could not be taken out: no readings just before", many(late, "run"))
	case late > 0:
		return fmt.Sprintf("how fast the air clears is not known, so dust of the run before is in %s that began within %.0f min of it: let the sensor run after work, or leave time between runs",
			many(late, "run"), unknownWait.Minutes())
	case close > 0:
		return fmt.Sprintf("%s began right after another: the level at the start was taken from the first seconds", many(close, "run"))
	}
	return ""
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
