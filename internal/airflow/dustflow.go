package airflow

import (
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// Session is one session's fine dust, as a comparison has it, with the flow measured
// nearest to it under the same setup.
type Session struct {
	Start    time.Time
	Setup    string
	Dust     float64    // above zero, in one unit for all
	Flow     units.Flow // above zero
	Measured time.Time  // when the flow was measured
}

// DustOnFlow is the regression of ln dust on flow.
type DustOnFlow struct {
	Sessions     int        `json:"sessions"`
	Measurements int        `json:"flow_measurements"` // the unit: sessions that share one are averaged
	Setups       []string   `json:"setups"`
	Step         units.Flow `json:"step"`
	Percent      *float64   `json:"change_percent_per_step"` // of dust for one step more flow, setups being held apart
	Low          *float64   `json:"change_low"`              // 95 %
	High         *float64   `json:"change_high"`
	// The same with the setups thrown together; nil with one setup. Flow and the rest of
	// a change of setup cannot be told apart in it, so it decides nothing.
	Across *float64    `json:"change_percent_across_setups"`
	Points []FlowPoint `json:"points"` // what the line is fitted to
	Lines  []FlowLine  `json:"lines"`  // by setup, one slope for all; none without one
	Answer string      `json:"answer"`
	Why    words.Text  `json:"why"`
}

// FlowPoint is one measurement of the flow with the dust of the sessions beside it.
type FlowPoint struct {
	Setup    string     `json:"setup"`
	Flow     units.Flow `json:"flow"`
	Dust     float64    `json:"dust_ratio"` // geometric mean, in the unit of SessionDust
	Sessions int        `json:"sessions"`
}

// FlowLine is the fitted dust of a setup at its least and its largest flow.
type FlowLine struct {
	Setup string     `json:"setup"`
	From  units.Flow `json:"from_flow"`
	To    units.Flow `json:"to_flow"`
	Start float64    `json:"dust_ratio_at_from"`
	End   float64    `json:"dust_ratio_at_to"`
}

// Words of a regression.
const (
	LessDust      = "less dust with more flow"
	MoreDust      = "more dust with more flow"
	NoRelation    = "no relation shown"
	TooLittleData = "too little data"
)

// leastFreedom is the fewest degrees of freedom that are left over, leastSpread the
// least standard deviation of the flows over their mean (our choices).
const (
	leastFreedom = 2
	leastSpread  = 0.02
)

// stepFlow is what a change is told for.
var stepFlow = units.CFM(100)

// RegressDust fits ln dust = a + b·Q by least squares, with an a for each setup: what
// else changed with the setup is not taken for an effect of flow. The unit is a
// measurement of the flow: sessions that go with the same one are averaged first, for
// many sessions beside one flow say nothing more about flow. Interval: Student's t on
// b, with one degree of freedom lost for each a and one for b. It is no experiment.
func RegressDust(sessions []Session) DustOnFlow {
	r := DustOnFlow{Step: stepFlow, Answer: TooLittleData, Setups: []string{}, Points: []FlowPoint{}, Lines: []FlowLine{}}
	points := r.points(sessions)
	r.Measurements = len(points)
	for _, p := range points {
		r.Points = append(r.Points, FlowPoint{Setup: p.setup, Flow: units.Flow(p.x) * stepFlow, Dust: math.Exp(p.y), Sessions: int(p.n)})
	}
	var all, within line
	within.n = float64(len(points) - len(r.Setups) + 1) // line counts one a
	for _, setup := range r.Setups {
		var one line
		for _, p := range points {
			if p.setup == setup {
				one.add(p.x, p.y)
			}
		}
		within.pool(one)
	}
	for _, p := range points {
		all.add(p.x, p.y)
	}
	if within.n-2 < leastFreedom {
		r.Why = words.Of("%d session(s) beside %d measurement(s) of the flow under %d setup(s): it takes %d measurements more than setups", r.Sessions, r.Measurements, len(r.Setups), leastFreedom+1)
		return r
	}
	within.settle()
	all.settle()
	// Flows that differ by less than a gauge can tell say nothing.
	if typical := math.Sqrt(within.sxx / within.n); !(typical > leastSpread*all.meanX) {
		r.Why = words.Of("under one setup the flows measured hardly differ: nothing can be told from them")
		return r
	}
	r.Lines = linesThrough(points, r.Setups, within.Slope)
	half := within.tSlope()
	percent := func(slope float64) *float64 { return ptr(100 * math.Expm1(slope)) }
	r.Percent, r.Low, r.High = percent(within.Slope), percent(within.Slope-half), percent(within.Slope+half)
	switch {
	case within.Slope+half < 0:
		r.Answer = LessDust
	case within.Slope-half > 0:
		r.Answer = MoreDust
	default:
		r.Answer = NoRelation
	}
	r.Why = words.Of("from %d sessions beside %d measurements of the flow", r.Sessions, r.Measurements)
	if r.Answer == NoRelation {
		r.Why = words.Of("%s; the interval holds no change, which is not the same as no relation", r.Why)
	}
	if len(r.Setups) > 1 {
		r.Across = percent(all.Slope)
		r.Why = words.Of("%s; within setups, for flow changed together with what else the setups (%s) differ in", r.Why, strings.Join(r.Setups, ", "))
	}
	return r
}

// linesThrough is the common slope through each setup's own mean.
func linesThrough(points []flowPoint, setups []string, slope float64) (lines []FlowLine) {
	for _, setup := range setups {
		var own line
		low, high := math.Inf(1), math.Inf(-1)
		for _, p := range points {
			if p.setup == setup {
				own.add(p.x, p.y)
				low, high = min(low, p.x), max(high, p.x)
			}
		}
		at := func(x float64) float64 { return math.Exp(own.meanY + slope*(x-own.meanX)) }
		lines = append(lines, FlowLine{Setup: setup, From: units.Flow(low) * stepFlow, To: units.Flow(high) * stepFlow, Start: at(low), End: at(high)})
	}
	return lines
}

// flowPoint is one measurement of the flow with the mean ln dust beside it.
type flowPoint struct {
	setup string
	x, y  float64
	n     float64
}

// points averages the sessions that share a measurement, and counts.
func (r *DustOnFlow) points(sessions []Session) (list []flowPoint) {
	place := map[string]int{}
	for _, s := range sessions {
		if !(s.Dust > 0 && s.Flow > 0) || math.IsInf(s.Dust, 0) {
			continue
		}
		r.Sessions++
		if !slices.Contains(r.Setups, s.Setup) {
			r.Setups = append(r.Setups, s.Setup)
		}
		key := s.Setup + "\x00" + s.Measured.UTC().Format(time.RFC3339Nano)
		i, ok := place[key]
		if !ok {
			i = len(list)
			place[key] = i
			list = append(list, flowPoint{setup: s.Setup, x: float64(s.Flow / stepFlow)})
		}
		p := &list[i]
		p.n++
		p.y += (math.Log(s.Dust) - p.y) / p.n
	}
	slices.Sort(r.Setups)
	return list
}
