package compare

import (
	"math"
	"time"
)

// leadIn is the stretch before a run whose level says what was left in the air
// when it began; leastLeadIn of it must lie outside other tasks.
const (
	leadIn      = time.Minute
	leastLeadIn = 10 * time.Second
)

// net is one run's value of a quantity above background.
type net struct {
	value      float64 // NaN: not measured
	standIn    bool    // background of other runs was subtracted
	background bool    // a background was subtracted
	tail       bool    // the dust of the time after the run is in it
	cleared    bool    // what the run before left is taken out
	// How the value moves with the two numbers of the background: ∂value/∂a and
	// ∂value/∂b of Cbg = a + b·Cout.
	byA, byB float64
	stretch  float64 // (run + tail)/run: an error of the background counts so often
}

// netMeans computes the quantity's value of every run: its dose above the
// background, with the tail that follows it and without what the run before
// left, over the length of the run.
//
//	D = Σ(C − Cbg)·Δt − (C(0) − Cbg)·(1 − exp(−λT))/λ, net mean = D/L
//
// T is the length of run and tail, L that of the run, λ the clearance rate of the
// setup. Source: mass balance of one mixed room, linear in its sources. Without a
// background it is the plain mean over the run. A run whose own background was
// measured for less than half of it gets the median of the runs that have theirs.
//
// loq is the level below which a net mean is not told from the background.
func (st *study) netMeans(q quantity, r rules) (out []net, loq float64) {
	out = make([]net, len(st.runs))
	g := st.groundOf(q)
	if r.raw || g.kind == noGround {
		for i, run := range st.runs {
			out[i] = net{value: st.mean(q, run.start, run.stop, run.need, r), stretch: 1}
		}
		return finiteOnly(out), q.floor
	}
	own := make([]float64, len(st.runs))
	var covered []float64
	for i, run := range st.runs {
		own[i] = q.outside(run.start, run.stop, run.needBackground)
		if !math.IsNaN(own[i]) {
			covered = append(covered, own[i])
		}
	}
	usual := median(covered)
	for i, run := range st.runs {
		outside, standIn := own[i], false
		if math.IsNaN(outside) && g.kind != constantGround {
			if len(covered) == 0 {
				out[i] = net{value: st.mean(q, run.start, run.stop, run.need, r), stretch: 1}
				continue
			}
			outside, standIn = usual, true
		}
		out[i] = st.netMean(q, g, run, outside, r)
		out[i].standIn = standIn
	}
	var stretches []float64
	for _, n := range out {
		stretches = append(stretches, n.stretch)
	}
	return finiteOnly(out), g.loq(q.floor, usual, median(stretches))
}

// netMean is the net mean of one run. outside is the mean at the background
// sensor over the run.
func (st *study) netMean(q quantity, g *ground, run run, outside float64, r rules) net {
	n := net{background: true, stretch: 1}
	if g.kind == constantGround {
		outside = 0
	}
	length := run.seconds()
	dose := (st.mean(q, run.start, run.stop, run.need, r) - g.at(outside)) * length
	byA, byB, total := length, outside*length, length
	if tail := run.tailEnd.Sub(run.stop).Seconds(); tail > 0 {
		if m := st.mean(q, run.stop, run.tailEnd, leastMeasured*tail, rules{everything: r.everything, spikes: r.spikes}); !math.IsNaN(m) {
			out := q.outsideOr(g, outside, run.stop, run.tailEnd)
			dose += (m - g.at(out)) * tail
			byA, byB, total, n.tail = byA+tail, byB+out*tail, total+tail, true
		}
	}
	if perSecond := g.clearance[run.side].PerHour / secondsPerHour; perSecond > 0 {
		if start, out := st.levelAtStart(q, g, run, outside, r); !math.IsNaN(start) {
			k := leftOver(perSecond, total)
			dose -= (start - g.at(out)) * k
			byA, byB, n.cleared = byA-k, byB-out*k, true
		}
	}
	n.value, n.byA, n.byB, n.stretch = dose/length, -byA/length, -byB/length, total/length
	return n
}

const secondsPerHour = 3600

// levelAtStart is the quantity's level when the run began, from up to a minute
// before it, or where another task lay there, from its first seconds; and the
// level at the background sensor then.
func (st *study) levelAtStart(q quantity, g *ground, run run, outside float64, r rules) (level, out float64) {
	from, to := run.start.Add(-min(leadIn, run.idle)), run.start
	if to.Sub(from) < leastLeadIn {
		from, to = run.start, run.start.Add(leastLeadIn)
	}
	level = st.mean(q, from, to, leastBackground*to.Sub(from).Seconds(), r)
	return level, q.outsideOr(g, outside, from, to)
}

// finiteOnly takes a value that left the range of numbers as not measured.
func finiteOnly(nets []net) []net {
	for i := range nets {
		if !isFinite(nets[i].value) {
			nets[i].value = math.NaN()
		}
	}
	return nets
}

// mean is the quantity's mean over [from, to); NaN if fewer seconds than needed
// were measured or no number comes of it.
func (st *study) mean(q quantity, from, to time.Time, need float64, r rules) float64 {
	if r.everything {
		need = 0
	}
	return difference(q.plus, q.minus, from, to, need, st.lookFor(r))
}
