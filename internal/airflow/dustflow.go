package airflow

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/units"
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
	Percent      *float64   `json:"change_percent_per_step"` // of dust for one step more flow
	Low          *float64   `json:"change_low"`              // 95 %
	High         *float64   `json:"change_high"`
	Answer       string     `json:"answer"`
	Why          string     `json:"why"`
}

// Words of a regression.
const (
	LessDust      = "less dust with more flow"
	MoreDust      = "more dust with more flow"
	NoRelation    = "no relation shown"
	TooLittleData = "too little data"
)

// fewestMeasurements is the fewest flows that a line is put through: two degrees of
// freedom are left over (our choice).
const fewestMeasurements = 4

// stepFlow is what a change is told for.
var stepFlow = units.CFM(100)

// RegressDust fits ln dust = a + b·Q by least squares. The unit is a measurement of
// the flow: sessions that go with the same one are averaged first, for many sessions
// beside one flow say nothing more about flow. Interval: Student's t on b. It is no
// experiment: where flow changed together with something else, hood, filter or work,
// that may be the cause.
func RegressDust(sessions []Session) DustOnFlow {
	r := DustOnFlow{Step: stepFlow, Answer: TooLittleData, Setups: []string{}}
	type group struct {
		flow units.Flow
		sum  float64
		n    float64
	}
	groups := map[string]*group{}
	var keys []string
	for _, s := range sessions {
		if !(s.Dust > 0 && s.Flow > 0) || math.IsInf(s.Dust, 0) {
			continue
		}
		r.Sessions++
		if !slices.Contains(r.Setups, s.Setup) {
			r.Setups = append(r.Setups, s.Setup)
		}
		key := s.Setup + "\x00" + s.Measured.UTC().Format(time.RFC3339Nano)
		if groups[key] == nil {
			groups[key] = &group{flow: s.Flow}
			keys = append(keys, key)
		}
		groups[key].sum += math.Log(s.Dust)
		groups[key].n++
	}
	slices.Sort(keys)
	slices.Sort(r.Setups)
	r.Measurements = len(groups)
	if len(groups) < fewestMeasurements {
		r.Why = fmt.Sprintf("%d session(s) beside %d measurement(s) of the flow: it takes %d measurements on different days", r.Sessions, r.Measurements, fewestMeasurements)
		return r
	}
	var x, y []float64
	for _, key := range keys {
		g := groups[key]
		x, y = append(x, float64(g.flow/stepFlow)), append(y, g.sum/g.n)
	}
	line, err := fitLine(x, y)
	if err != nil || line.spanX() < 0.05*line.meanX {
		r.Why = "the flows measured hardly differ: nothing can be told from them"
		return r
	}
	half := line.tSlope()
	percent := func(slope float64) *float64 { return ptr(100 * math.Expm1(slope)) }
	r.Percent, r.Low, r.High = percent(line.Slope), percent(line.Slope-half), percent(line.Slope+half)
	switch {
	case line.Slope+half < 0:
		r.Answer = LessDust
	case line.Slope-half > 0:
		r.Answer = MoreDust
	default:
		r.Answer = NoRelation
	}
	r.Why = fmt.Sprintf("from %d sessions beside %d measurements of the flow", r.Sessions, r.Measurements)
	if r.Answer == NoRelation {
		r.Why += "; the interval holds no change, which is not the same as no relation"
	}
	if len(r.Setups) > 1 {
		r.Why += "; flow changed together with the setup (" + strings.Join(r.Setups, ", ") + "), so another part of the change may be the cause"
	}
	return r
}
