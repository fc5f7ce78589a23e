package compare

import (
	"math"
	"slices"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/dust"
)

// Where a clearance rate is read off the air after a task.
const (
	decayDelay    = time.Minute      // after the task: the plume is gone, the room is mixed
	longestDecay  = 90 * time.Minute // later there is little left to see
	leastDecay    = 4 * time.Minute  // shorter ones say too little
	decayBlock    = 20 * time.Second // means that are fitted, longer in long records
	mostBlocks    = 60
	enoughDecays  = 12
	ownRateDecays = 3 // fewer under a setup: all of the study's are used for it
)

// rate is a clearance rate with what it rests on.
type rate struct {
	PerHour float64 // median of the decays; 0: not known
	Decays  int
	pooled  bool // from the decays of both setups
}

// decay is one fall of the level after a task.
type decay struct {
	session int
	side    side
	perHour float64
}

// clearanceOf is how fast a quantity leaves the air under each setup: the median
// rate of its decays there, or of all where there are fewer than three.
func clearanceOf(decays []decay) (out [sides]rate) {
	var all []float64
	var own [sides][]float64
	for _, d := range decays {
		all = append(all, d.perHour)
		own[d.side] = append(own[d.side], d.perHour)
	}
	if len(all) == 0 {
		return out
	}
	for side := range sides {
		out[side] = rate{PerHour: median(own[side]), Decays: len(own[side])}
		if len(own[side]) < ownRateDecays {
			out[side] = rate{PerHour: median(all), Decays: len(all), pooled: true}
		}
	}
	return out
}

func slowest(r [sides]rate) float64 { return math.Min(r[before].PerHour, r[after].PerHour) }

// decays lists the falls after the tasks of the study's sessions, in order. Of a
// quantity that does not decide, a dozen under each setup are enough for a median.
func (st *study) decays(q quantity, g *ground) (out []decay) {
	var after [sides][]run
	for _, r := range st.runs {
		if !r.changed && min(r.quiet, longestDecay) >= decayDelay+leastDecay {
			after[r.side] = append(after[r.side], r)
		}
	}
	for _, runs := range after {
		step := 1
		if q.metric != st.in.Metric.Key() {
			step = max(1, len(runs)/enoughDecays)
		}
		for i := 0; i < len(runs); i += step {
			r := runs[i]
			if perHour, ok := st.decayIn(q, g, r.stop.Add(decayDelay), r.stop.Add(min(r.quiet, longestDecay))); ok {
				out = append(out, decay{session: r.session, side: r.side, perHour: perHour})
			}
		}
	}
	return out
}

// decaysInWindow reads rates off between two fixed levels after each task.
func (st *study) decaysInWindow(q quantity, w ClearanceWindow) (out []decay) {
	for _, r := range st.runs {
		to := r.stop.Add(min(r.quiet, longestDecay))
		var seconds, c []float64
		for p := range q.plus.Spans(r.stop, to) {
			// A reading that speaks from before the end of the task is of the task.
			if at := time.UnixMilli(p.From); p.Unusable() == "" && (at.After(r.stop) || st.readAt(q.plus, p.From)) {
				seconds, c = append(seconds, at.Sub(r.stop).Seconds()), append(c, p.Value)
			}
		}
		if fit, err := ClearanceRate(seconds, c, w.High, w.Low); err == nil && fit.PerHour > 0 && !r.changed {
			out = append(out, decay{session: r.session, side: r.side, perHour: fit.PerHour})
		}
	}
	return out
}

// readAt reports whether the series has a reading at that moment.
func (st *study) readAt(s *dust.Series, ms int64) bool {
	all, _, _ := s.Columns()
	_, found := slices.BinarySearch(all, ms)
	return found
}

// decayIn fits an exponential fall to the level over [from, to). What the air
// outside did meanwhile is taken out.
func (st *study) decayIn(q quantity, g *ground, from, to time.Time) (perHour float64, ok bool) {
	type point struct{ hours, level, outside float64 }
	var points []point
	var usual float64
	block := max(decayBlock, to.Sub(from)/mostBlocks).Truncate(time.Second)
	need := leastMeasured * block.Seconds()
	for at := from; !at.Add(block).After(to); at = at.Add(block) {
		p := point{hours: at.Sub(from).Hours(), level: st.mean(q, at, at.Add(block), need, rules{})}
		if g.kind != noGround && g.kind != constantGround {
			p.outside = q.outside(at, at.Add(block), need)
		}
		if !math.IsNaN(p.level + p.outside) {
			points = append(points, p)
			usual += (p.outside - usual) / float64(len(points))
		}
	}
	if len(points) == 0 || points[len(points)-1].hours < leastDecay.Hours()/2 {
		return 0, false
	}
	var hours, level []float64
	for _, p := range points {
		hours, level = append(hours, p.hours), append(level, p.level-g.b*(p.outside-usual))
	}
	fit, why, err := clearance.Judge(hours, level, g.elsewhere(usual), clearance.Options{})
	return fit.PerHour, err == nil && why.IsZero()
}

// elsewhere is the background for a decay that is too short to show its own.
func (g *ground) elsewhere(outside float64) *clearance.Background {
	if g.kind == noGround {
		return nil
	}
	return &clearance.Background{Level: g.at(outside), U: math.Sqrt(g.spread*g.spread + g.variance(outside)), Kind: g.kind.text()}
}
