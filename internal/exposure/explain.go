package exposure

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
)

// Explanation says where one number comes from, so that it can be worked out
// again by hand.
type Explanation struct {
	ID      string   `json:"id"` // date/sensor/number
	Label   string   `json:"label"`
	Value   *float64 `json:"value"`
	Unit    string   `json:"unit"`
	Formula string   `json:"formula"`
	Inputs  []Given  `json:"inputs"`
	Source  string   `json:"source"`
	// Readings are those that went in: `dustlog export` prints them.
	Sensor  string    `json:"sensor"`
	Metric  string    `json:"metric"`
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
	LeftOut string    `json:"left_out"` // minutes by flag; "" for none
}

// Given is a quantity that goes into a formula.
type Given struct {
	Name  string   `json:"name"`
	Value *float64 `json:"value"`
	Unit  string   `json:"unit"`
}

// explained is how one number of a shift is explained.
type explained struct {
	key, label, unit string
	value            func(s *ShiftResult) *float64
	formula, source  string
	inputs           func(s *ShiftResult) []Given
}

const (
	sourceTWA  = "29 CFR 1910.1000(d)(1)(i)"
	sourceOwn  = "definition of this program, package exposure"
	sourceRank = "Hyndman and Fan 1996, definition 1, weighted by time"
)

func given(name string, x float64, unit string) Given { return Given{name, &x, unit} }

// dose is ΣC·Δt, from the TWA that was made of it.
func dose(s *ShiftResult) Given {
	g := Given{Name: "ΣC·Δt over the measured time", Unit: "mg·min/m³"}
	if s.TWA8h != nil {
		x := *s.TWA8h * eightHours.Minutes()
		g.Value = &x
	}
	return g
}

func times(s *ShiftResult) []Given {
	return []Given{dose(s), given("measured", s.MinutesMeasured, "min"), given("shift", s.Minutes, "min")}
}

var explainedNumbers = []explained{
	{"twa_8h", "8-hour TWA", "mg/m³", func(s *ShiftResult) *float64 { return s.TWA8h },
		"ΣC·Δt / 480 min; time that was not measured counts as zero", sourceTWA, times},
	{"twa_8h_like_measured", "8-hour TWA, unmeasured time like the measured", "mg/m³", func(s *ShiftResult) *float64 { return s.TWA8hFilled },
		"(ΣC·Δt / measured time) · shift / 480 min", sourceTWA + ", and the assumption named", times},
	{"twa_8h_like_worst_task", "8-hour TWA, unmeasured time like the worst task", "mg/m³", func(s *ShiftResult) *float64 { return s.TWA8hWorst },
		"(ΣC·Δt + highest task mean · unmeasured time) / 480 min", sourceTWA + ", and the assumption named", func(s *ShiftResult) []Given {
			all := times(s)
			for _, d := range s.TaskDoseShares {
				if d.Task == s.WorstTask {
					all = append(all, Given{"mean of " + orOutside(d.Task), d.MeanMgM3, "mg/m³"})
				}
			}
			return all
		}},
	{"twa_shift", "TWA over the shift", "mg/m³", func(s *ShiftResult) *float64 { return s.TWAShift },
		"ΣC·Δt / shift; time that was not measured counts as zero", sourceTWA + ", with the shift's length in place of 8 h", times},
	{"mean_measured", "mean of the measured time", "mg/m³", func(s *ShiftResult) *float64 { return s.MeasuredMean },
		"ΣC·Δt / ΣΔt", sourceOwn, times},
	{"max_15min", "highest 15-minute mean", "mg/m³", func(s *ShiftResult) *float64 { return s.Max15min },
		"highest of ΣC·Δt / ΣΔt over every window of 15 min inside the shift that was at least 75 % measured", sourceOwn, func(s *ShiftResult) []Given {
			return []Given{given("window", 15, "min")}
		}},
	{"p50", "reading not exceeded for 50 % of the time", "mg/m³", func(s *ShiftResult) *float64 { return s.P50 }, "lowest reading such that the air was at or below it for 50 % of the measured time", sourceRank, times},
	{"p95", "reading not exceeded for 95 % of the time", "mg/m³", func(s *ShiftResult) *float64 { return s.P95 }, "lowest reading such that the air was at or below it for 95 % of the measured time", sourceRank, times},
	{"p99", "reading not exceeded for 99 % of the time", "mg/m³", func(s *ShiftResult) *float64 { return s.P99 }, "lowest reading such that the air was at or below it for 99 % of the measured time", sourceRank, times},
	{"share_of_limit", "share of the limit", "", func(s *ShiftResult) *float64 { return s.ShareOfLimit },
		"what is compared, with the sensor's factor if one was used, over the limit", sourceOwn, func(s *ShiftResult) []Given {
			all := []Given{given("limit "+s.LimitID, s.LimitMgM3, "mg/m³"), given("averaging time of the comparison", s.ComparedOverMinutes, "min")}
			if len(s.Limits) > 0 {
				all = append(all, Given{"reading compared", s.Limits[0].ComparedMgM3, "mg/m³"})
			}
			if s.Factor != nil {
				all = append(all, given("factor", s.Factor.Factor, ""), Given{"with the factor", s.WithFactor, "mg/m³"})
			}
			return all
		}},
}

// Explanations explains every number of every shift, in order.
func (r Result) Explanations() []Explanation {
	var all []Explanation
	for i := range r.Shifts {
		s := &r.Shifts[i]
		for _, e := range explainedNumbers {
			all = append(all, Explanation{
				ID: s.Date + "/" + s.Sensor + "/" + e.key, Label: e.label, Value: e.value(s), Unit: e.unit, Formula: e.formula,
				Inputs: e.inputs(s), Source: e.source, Sensor: s.Sensor, Metric: r.Metric, From: s.Start, To: s.End, LeftOut: leftOut(s),
			})
		}
	}
	return all
}

// Explain explains one number. The error names those that are alike.
func (r Result) Explain(id string) (Explanation, error) {
	var near []string
	for _, e := range r.Explanations() {
		if e.ID == id {
			return e, nil
		}
		if len(near) < 5 && sharesPart(e.ID, id) {
			near = append(near, e.ID)
		}
	}
	if len(near) > 0 {
		return Explanation{}, fmt.Errorf("no result %q: there are, among others, %s", id, strings.Join(near, ", "))
	}
	return Explanation{}, fmt.Errorf("no result %q: `dustlog explain` lists all", id)
}

// sharesPart reports whether two ids have a date and a sensor, or a number, in common.
func sharesPart(a, b string) bool {
	cutA, cutB := strings.LastIndex(a, "/"), strings.LastIndex(b, "/")
	if cutA < 0 || cutB < 0 {
		return strings.Contains(a, b)
	}
	return a[:cutA] == b[:cutB] || a[cutA:] == b[cutB:]
}

func leftOut(s *ShiftResult) string {
	var parts []string
	for _, flag := range sortedFlags(s.MinutesExcluded) {
		parts = append(parts, fmt.Sprintf("%s %s min", flag, number(s.MinutesExcluded[flag])))
	}
	return strings.Join(parts, ", ")
}

func sortedFlags(minutes map[string]float64) []string { return slices.Sorted(maps.Keys(minutes)) }

func orOutside(task string) string {
	if strings.TrimSpace(task) == "" {
		return "time outside tasks, task not stated"
	}
	return task
}
