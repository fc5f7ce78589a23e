package exposure

import (
	"fmt"
	"slices"
	"strings"
)

// Grouping is what results are put together by.
type Grouping string

// The groupings.
const (
	ByShift    Grouping = "shift"
	ByTask     Grouping = "task"
	ByMaterial Grouping = "material"
	ByPosition Grouping = "position"
	ByGroup    Grouping = "group" // an exposure group over days, see package group
)

// ParseGrouping reads a grouping's name.
func ParseGrouping(s string) (Grouping, error) {
	all := []Grouping{ByShift, ByTask, ByMaterial, ByPosition, ByGroup}
	if g := Grouping(strings.ToLower(strings.TrimSpace(s))); slices.Contains(all, g) {
		return g, nil
	}
	return "", fmt.Errorf("unknown grouping %q: use shift, task, material, position or group", s)
}

// Total is what the runs of a task or a material, or the shifts at a position,
// add up to for one sensor. Runs of several persons at once count each.
type Total struct {
	Key             string   `json:"key"` // "" is a run whose material was not written down
	Sensor          string   `json:"sensor"`
	Position        string   `json:"position"`
	Count           int      `json:"count"` // runs or shifts with a usable reading
	Empty           int      `json:"without_reading"`
	MinutesMeasured float64  `json:"minutes_measured"`
	DoseMgMinM3     *float64 `json:"dose_mg_min_m3"`
	MeanMgM3        *float64 `json:"mean_measured_mg_m3"` // dose over measured time
	LowestMgM3      *float64 `json:"lowest_mean_mg_m3"`   // of the single runs or shifts
	HighestMgM3     *float64 `json:"highest_mean_mg_m3"`
}

// Totals puts the runs (by task or material) or the shifts (by position)
// together, in order of first appearance.
func (r Result) Totals(by Grouping) []Total {
	totals := []Total{}
	add := func(key, sensor, position string, minutes float64, mean *float64) {
		i := slices.IndexFunc(totals, func(t Total) bool { return t.Key == key && t.Sensor == sensor })
		if i < 0 {
			i = len(totals)
			totals = append(totals, Total{Key: key, Sensor: sensor, Position: position})
		}
		totals[i].add(minutes, mean)
	}
	switch by {
	case ByTask:
		for _, t := range r.Tasks {
			add(t.Task, t.Sensor, string(t.Position), t.MinutesMeasured, t.MeanMgM3)
		}
	case ByMaterial:
		for _, t := range r.Tasks {
			add(strings.ToLower(strings.TrimSpace(t.Material)), t.Sensor, string(t.Position), t.MinutesMeasured, t.MeanMgM3)
		}
	case ByPosition:
		for _, s := range r.Shifts {
			add(string(s.Position), s.Sensor, string(s.Position), s.MinutesMeasured, s.MeasuredMean)
		}
	}
	return totals
}

func (t *Total) add(minutes float64, mean *float64) {
	if mean == nil {
		t.Empty++
		return
	}
	dose := *mean * minutes
	if t.DoseMgMinM3 != nil {
		dose += *t.DoseMgMinM3
	}
	t.Count++
	t.MinutesMeasured += minutes
	whole := dose / t.MinutesMeasured
	t.DoseMgMinM3, t.MeanMgM3 = &dose, &whole
	if t.LowestMgM3 == nil || *mean < *t.LowestMgM3 {
		t.LowestMgM3 = mean
	}
	if t.HighestMgM3 == nil || *mean > *t.HighestMgM3 {
		t.HighestMgM3 = mean
	}
}
