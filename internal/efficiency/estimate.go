package efficiency

import (
	"fmt"
	"math"
)

// estimate is one quantity over the runs of a setup.
type estimate struct {
	in    Input
	q     quantity
	pairs []pair
	// Levels in air without particles, by sensor: they move with it when the
	// sensors change places.
	zeroUpstream, zeroDownstream float64
}

func (in Input) newEstimate(q quantity, pairs []pair) estimate {
	e := estimate{in: in, q: q, pairs: pairs}
	e.zeroUpstream, e.zeroDownstream = in.zeroLevels(q)
	return e
}

// zeros are the levels to take off before and behind the filter in a run.
func (e estimate) zeros(p pair) (up, down float64) {
	if p.run.Exchanged {
		return e.zeroDownstream, e.zeroUpstream
	}
	return e.zeroUpstream, e.zeroDownstream
}

// counted reports whether particles, not only levels, are known.
func (e estimate) counted() bool { return !e.q.mass && e.in.SampleFlow > 0 }

// run turns a pair into net counts, or into levels where counts are not known.
func (e estimate) run(p pair) Run {
	zeroUp, zeroDown := e.zeros(p)
	up, down := max(p.up.Mean-zeroUp, 0), max(p.down.Mean-zeroDown, 0)
	if !e.counted() {
		return Run{Down: down, Up: up, VolumeDown: 1, VolumeUp: 1}
	}
	vUp, vDown := e.in.SampleFlow*p.up.Seconds, e.in.SampleFlow*p.down.Seconds
	return Run{Down: down * vDown, Up: up * vUp, VolumeDown: vDown, VolumeUp: vUp}
}

// gross are a pair's counts and those expected of the zero level.
func (e estimate) gross(p pair) (down, up Counted, zeroDown, zeroUp float64) {
	vUp, vDown := e.in.SampleFlow*p.up.Seconds, e.in.SampleFlow*p.down.Seconds
	down, up = Counted{int64(math.Round(p.down.Mean * vDown)), vDown}, Counted{int64(math.Round(p.up.Mean * vUp)), vUp}
	levelUp, levelDown := e.zeros(p)
	return down, up, levelDown * vDown, levelUp * vUp
}

// fill decides which estimate the runs allow and puts it into the row.
func (e estimate) fill(row *Row) {
	var up, down float64
	for _, p := range e.pairs {
		r := e.run(p)
		up, down = up+r.Up, down+r.Down
	}
	switch {
	case up == 0:
		row.Why = "no dust of this size before the filter"
	case down == 0:
		e.atLeast(row)
	case len(e.pairs) >= leastRuns:
		e.between(row)
	case len(e.pairs) == 1 && e.counted():
		e.single(row)
	default:
		e.plain(row)
	}
}

// atLeast is for nothing counted behind the filter in any run.
func (e estimate) atLeast(row *Row) {
	if !e.counted() {
		row.Why = "nothing came through that the sensor shows; how little that is, the sensor's sample flow would tell (--sample-flow)"
		return
	}
	var down, up Counted
	var zeroDown, zeroUp float64
	for _, p := range e.pairs {
		d, u, zd, zu := e.gross(p)
		down.N, down.Volume, zeroDown = down.N+d.N, down.Volume+d.Volume, zeroDown+zd
		up.N, up.Volume, zeroUp = up.N+u.N, up.Volume+u.Volume, zeroUp+zu
	}
	most, err := AtMost(down, up, zeroDown, zeroUp)
	if err != nil {
		row.Why = err.Error()
		return
	}
	row.State, row.AtLeast, row.Interval = AtLeast, percent(1-most), "counting"
	row.Why = "nothing was counted behind the filter beyond its zero count; the limit is one-sided 95 %"
	row.PenetrationHigh = percent(most)
	row.bin.E, row.low = 1-most, 1-most
}

// between is for three runs or more.
func (e estimate) between(row *Row) {
	var placed, exchanged []float64
	var runs []Run
	for _, p := range e.pairs {
		r := e.run(p)
		runs = append(runs, r)
		ln := r.lnP()
		if !e.counted() {
			if ln = lnRatio(r.Down, r.Up); !finite(ln) {
				row.Why = "in one run nothing came through or nothing was there, and without the sensors' sample flow that has no size"
				return
			}
		}
		if p.run.Exchanged {
			exchanged = append(exchanged, ln)
		} else {
			placed = append(placed, ln)
		}
	}
	o, err := e.ofRuns(runs, placed, exchanged)
	if err != nil {
		row.Why = err.Error()
		return
	}
	row.set(o.Penetration, "runs")
	if finite(o.Q) {
		row.Q, row.QP, row.SpreadLn = ptr(o.Q), ptr(o.P), ptr(math.Sqrt(o.Tau2))
	}
	row.Gain = ptr(o.Gain)
}

func (e estimate) ofRuns(runs []Run, placed, exchanged []float64) (OfRuns, error) {
	switch {
	case len(exchanged) > 0 && len(placed) > 0:
		return Exchanged(placed, exchanged)
	case e.counted():
		return Between(runs)
	}
	return BetweenRatios(append(placed, exchanged...))
}

// single is the exact interval of one run.
func (e estimate) single(row *Row) {
	p, err := NetOfZero(e.gross(e.pairs[0]))
	if err != nil {
		row.Why = err.Error()
		return
	}
	row.set(p, "counting")
	row.Why = "one run: the interval is of counting alone and says nothing about another run"
}

// plain is an estimate without an interval.
func (e estimate) plain(row *Row) {
	var up, down float64
	for _, p := range e.pairs {
		r := e.run(p)
		up, down = up+r.Up/r.VolumeUp, down+r.Down/r.VolumeDown
	}
	nan := math.NaN()
	row.set(Penetration{down / up, nan, nan}, "")
	row.Why = fmt.Sprintf("%d run(s): an interval between runs takes %d", len(e.pairs), leastRuns)
}

// set puts a penetration into the row.
func (r *Row) set(p Penetration, from string) {
	r.State, r.Interval = Measured, from
	r.Penetration, r.PenetrationLow, r.PenetrationHigh = percent(p.P), percent(p.Low), percent(p.High)
	r.Efficiency, r.EfficiencyLow = percent(1-p.P), percent(1-p.High)
	if p.Low > 0 {
		r.EfficiencyHigh = percent(1 - p.Low)
	}
	r.bin.E, r.low = 1-p.P, 1-p.High
}
