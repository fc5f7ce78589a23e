package compare

import (
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// Note is a remark of the diary.
type Note struct {
	At   time.Time `json:"at"`
	Text string    `json:"text"`
}

// Conditions are what else was so under one setup, over the runs that went in.
type Conditions struct {
	Setup             string             `json:"setup"`
	Sessions          int                `json:"sessions"`
	MinutesPerSession *float64           `json:"minutes_per_session"` // of runs
	TaskMinutes       map[string]float64 `json:"minutes_by_task"`
	MaterialMinutes   map[string]float64 `json:"minutes_by_material"` // "" where the diary names none
	Humidity          *float64           `json:"mean_rh_percent"`
	HumidShare        *float64           `json:"share_above_75_percent_rh"`
	Temperature       *float64           `json:"mean_temperature_c"`
	Background        *float64           `json:"mean_background"` // at the background sensor, in the result's unit
	Notes             []Note             `json:"notes"`
	// What was read off the dust collector under the setup; nil if nothing was, or if
	// it was not asked for.
	Collector *CollectorState `json:"collector,omitempty"`
}

// CollectorState is the latest of each reading off the dust collector.
type CollectorState struct {
	Flow          *units.Flow     `json:"flow"`
	FlowLow       *units.Flow     `json:"flow_low"`
	FlowHigh      *units.Flow     `json:"flow_high"`
	Static        *units.Pressure `json:"static_pressure"`
	FilterDrop    *units.Pressure `json:"filter_drop"`
	Current       *units.Current  `json:"current_a"`
	RatedCurrent  *units.Current  `json:"rated_current_a"`
	CurrentIsOver bool            `json:"current_over_rating"`
}

// Confounder is a condition that was not alike and may be part of the difference.
// Each lowers the design grade by one step.
type Confounder struct {
	What string     `json:"what"`
	Why  words.Text `json:"why"`
}

// WhatText says what was not alike.
func (c Confounder) WhatText() words.Text {
	switch c.What {
	case "material":
		return words.Of("material")
	case "tasks":
		return words.Of("tasks")
	case "minutes":
		return words.Of("minutes")
	case "humidity":
		return words.Of("humidity")
	case "background":
		return words.Of("background")
	case "doors":
		return words.Of("doors")
	}
	return words.Literal(c.What)
}

// What counts as not alike. Choices, no published limits.
const (
	unevenMinutes    = 1.5  // times as many minutes of work a session
	unevenTasks      = 0.25 // of a setup's minutes, of tasks the other setup did not see
	unevenRH         = 10.0 // points of mean relative humidity
	unevenBackground = 0.25 // of the lower net level
	unevenNotes      = 1.0 / 3
)

// conditions gathers what else differed.
func (st *study) conditions(q quantity, a analysis) []Conditions {
	rows := []Conditions{{Setup: st.in.Before}, {Setup: st.in.After}}
	for side := range sides {
		c := &rows[side]
		c.TaskMinutes, c.MaterialMinutes, c.Notes = map[string]float64{}, map[string]float64{}, []Note{}
		c.Sessions = len(st.sessionsIn(a, side))
		var minutes float64
		for i, r := range st.runs {
			if r.side != side || !a.usable[i] {
				continue
			}
			c.TaskMinutes[r.task] += r.seconds() / 60
			if a.in[i] {
				c.MaterialMinutes[r.material] += r.seconds() / 60
				minutes += r.seconds() / 60
			}
		}
		c.MinutesPerSession = ptr(minutes / float64(c.Sessions))
		c.Humidity = ptr(st.meanDuring(a, side, st.in.series(dust.Humidity)))
		c.Temperature = ptr(st.meanDuring(a, side, st.in.series(dust.Temperature)))
		c.Background = ptr(st.meanDuring(a, side, q.bgPlus))
		c.HumidShare = ptr(st.share(a, side, func(m measured) float64 { return m.humid }))
		c.Notes = append(c.Notes, st.notesDuring(a, side)...)
		if state, ok := st.in.Collector[c.Setup]; ok {
			c.Collector = &state
		}
	}
	return rows
}

// sessionsIn lists the sessions of one setup that went in.
func (st *study) sessionsIn(a analysis, s side) (out []int) {
	for i, x := range st.sessions {
		if x.side == s && a.used[i] {
			out = append(out, i)
		}
	}
	return out
}

// meanDuring is the time-weighted mean of any series over the runs that went in.
func (st *study) meanDuring(a analysis, s side, series *dust.Series) float64 {
	var sum, seconds float64
	for i, r := range st.runs {
		if r.side != s || !a.in[i] || series == nil {
			continue
		}
		for p := range series.Usable(r.start, r.stop) {
			if isFinite(p.Value) {
				sum += p.Value * p.Seconds()
				seconds += p.Seconds()
			}
		}
	}
	return sum / seconds
}

// notesDuring lists the remarks made on the days of the setup's sessions while it
// was in use.
func (st *study) notesDuring(a analysis, s side) (out []Note) {
	for _, n := range st.in.Notes {
		day := n.At.In(st.in.Zone).Format(time.DateOnly)
		setup := dust.SetupAt(sortedPeriods(st.in.Setups), n.At)
		for _, i := range st.sessionsIn(a, s) {
			if st.sessions[i].day == day && st.sessions[i].setup == setup {
				out = append(out, n)
				break
			}
		}
	}
	return out
}

// confounders names what was not alike, by fixed rules.
func (st *study) confounders(a analysis, rows []Conditions) []Confounder {
	list := []Confounder{}
	add := func(what string, why words.Text) {
		if !why.IsZero() {
			list = append(list, Confounder{what, why})
		}
	}
	old, new := rows[before], rows[after]
	add("material", st.materialWarning(a))
	add("tasks", unlikeTasks(a.lonelyTasks, old, new))
	add("minutes", unlikeMinutes(old.MinutesPerSession, new.MinutesPerSession))
	add("humidity", unlikeHumidity(old, new))
	add("background", st.unlikeBackground(a, old.Background, new.Background))
	add("doors", st.unlikeDoors(old, new))
	return list
}

func unlikeTasks(lonely []string, rows ...Conditions) words.Text {
	for _, c := range rows {
		var alone, all float64
		for task, minutes := range c.TaskMinutes {
			all += minutes
			if slices.Contains(lonely, task) {
				alone += minutes
			}
		}
		if alone > unevenTasks*all {
			return words.Of("%.0f %% of the work under “%s” was of tasks that the other setup did not see", 100*alone/all, c.Setup)
		}
	}
	return words.Text{}
}

func unlikeMinutes(old, new *float64) words.Text {
	if old == nil || new == nil || !(math.Max(*old / *new, *new / *old) > unevenMinutes) {
		return words.Text{}
	}
	return words.Of("%.0f min of work a session before, %.0f after", *old, *new)
}

func unlikeHumidity(old, new Conditions) words.Text {
	if old.Humidity != nil && new.Humidity != nil && math.Abs(*old.Humidity-*new.Humidity) > unevenRH {
		return words.Of("mean relative humidity %.0f %% before, %.0f %% after: optical sensors read high in moist air", *old.Humidity, *new.Humidity)
	}
	if old.HumidShare != nil && new.HumidShare != nil && math.Abs(*old.HumidShare-*new.HumidShare) > unevenHumidity {
		return words.Of("air above 75 %% relative humidity for %.0f %% of the time before, %.0f %% after: optical sensors read high in moist air", 100**old.HumidShare, 100**new.HumidShare)
	}
	return words.Text{}
}

func (st *study) unlikeBackground(a analysis, old, new *float64) words.Text {
	lower := math.Min(a.level(before), a.level(after))
	if old == nil || new == nil || !(math.Abs(*old-*new) > unevenBackground*lower) {
		return words.Text{}
	}
	return words.Of("background of %.3g before and %.3g after: what is subtracted matters", *old, *new)
}

// unlikeDoors compares how many sessions have a remark on a door or a window.
func (st *study) unlikeDoors(old, new Conditions) words.Text {
	share := func(c Conditions) float64 {
		days := map[string]bool{}
		for _, n := range c.Notes {
			text := strings.ToLower(n.Text)
			if strings.Contains(text, "door") || strings.Contains(text, "window") {
				days[n.At.In(st.in.Zone).Format(time.DateOnly)] = true
			}
		}
		return float64(len(days)) / math.Max(1, float64(c.Sessions))
	}
	if o, n := share(old), share(new); math.Abs(o-n) > unevenNotes {
		return words.Of("remarks on doors or windows on %.0f %% of the days before and %.0f %% after", 100*o, 100*n)
	}
	return words.Text{}
}

// lowered is the design grade after the confounders: one step down for each, D at
// the lowest.
func lowered(grade string, confounders []Confounder) string {
	const grades = "ABCD"
	i := min(strings.Index(grades, grade)+len(confounders), len(grades)-1)
	return grades[i : i+1]
}
