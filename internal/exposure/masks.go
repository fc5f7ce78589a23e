package exposure

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Days with a run at least 75 % measured before a low value counts: three are the
// least of EN 689:2018's screening test, and of a spread.
const enoughDays = 3

// Work that keeps the respirator on by default: sanding, turning, sweeping, air
// blowing and changing bags, bins or filters raise the most dust in published
// surveys and agencies' guidance. Any sanding counts, since a diary seldom tells
// hand from machine.
var dustyWork = append([]string{"sand", "turning", "lathe"}, whirlingWork...)

// whirlingWork moves dust that has settled.
var whirlingWork = []string{"sweep", "broom", "blow", "compressed air"}

var dustyVessels = []string{"bag", "bin", "filter", "drum", "sack", "hopper", "canister", "cyclone", "collector", "extractor", "separator", "vac"}

var emptying = []string{"chang", "empt", "swap", "replac", "clean"}

// Woods that rules on wood dust name as allergenic (WAC 296-841-20025, from
// memory): the respirator stays on whatever the number says.
var sensitisers = []string{"cedar", "mahogany", "teak"}

// masks answers the respirator question for every task and material with a run
// measured in the breathing zone. Only runs under the newest setup count: they
// are what the next run will be like.
func masks(in Input, tasks []dust.Task, runs []taskRun) (results []MaskResult, warnings []words.Text) {
	results = []MaskResult{}
	var asked [][2]string
	for _, t := range tasks {
		key := [2]string{t.Name, materialName(t.Material)}
		if slices.Contains(asked, key) {
			continue
		}
		asked = append(asked, key)
		var seen []taskRun
		for _, r := range runs {
			if r.Task == key[0] && materialName(r.Material) == key[1] && r.Position == dust.BreathingZone && r.MeanMgM3 != nil {
				seen = append(seen, r)
			}
		}
		if len(seen) == 0 {
			task := words.Of("task %q", t.Name)
			if key[1] != "" {
				task = words.Of("task %q on %s", t.Name, key[1])
			}
			warnings = append(warnings, words.Of("%s: no reading from the breathing zone, so nothing is said about the respirator: keep it on", task))
			continue
		}
		results = append(results, newMask(in, seen))
	}
	return results, warnings
}

// materialName makes materials that differ in case alone one.
func materialName(s string) string { return strings.ToLower(strings.TrimSpace(s)) }

// runsOf are the runs of one task on one material under one setup, in order.
type runsOf struct {
	in      Input
	task    string
	runs    []taskRun
	earlier int // runs left out because the setup has changed since
	count   int
	day     []int // of each run: 0, 1, …
	days    int   // with a run at least 75 % measured
	wood    string
}

func newMask(in Input, seen []taskRun) MaskResult {
	newest := seen[len(seen)-1]
	rs := runsOf{in: in, task: newest.Task, wood: sensitiser(newest.Material, in.Materials)}
	for _, r := range seen {
		if r.Setup != newest.Setup {
			rs.earlier++
			continue
		}
		rs.runs = append(rs.runs, r)
	}
	rs.number()
	m := MaskResult{Task: newest.Task, Material: materialName(newest.Material), Setup: newest.Setup, Runs: rs.count, Days: rs.days}
	for _, r := range rs.runs {
		if m.HighestMeanMgM3 == nil || *r.MeanMgM3 > *m.HighestMeanMgM3 {
			m.HighestMeanMgM3 = r.MeanMgM3
		}
	}
	wood, known := WoodOf(newest.Material, in.Materials)
	for _, l := range in.limits() {
		f := rs.against(l)
		f.Bearing, f.BearingWhy = l.bearing(wood, known, worked(newest.Material))
		m.Limits = append(m.Limits, f)
	}
	m.settle()
	return m
}

// worked is the material as a list: empty if none was written down.
func worked(material string) []string {
	if name := strings.TrimSpace(material); name != "" {
		return []string{name}
	}
	return nil
}

// oneDay is how far apart the starts of one day's runs may lie. It is shorter than
// a day, so that no time zone is needed.
const oneDay = 12 * time.Hour

// number counts the runs, and the days with a well-measured one.
func (rs *runsOf) number() {
	seen, full := map[int]bool{}, map[int]bool{}
	day, first := -1, time.Time{}
	for _, r := range rs.runs {
		if day < 0 || r.Start.Sub(first) > oneDay {
			day, first = day+1, r.Start
		}
		rs.day = append(rs.day, day)
		seen[r.run] = true
		if r.m.coverage() >= enoughCoverage {
			full[day] = true
		}
	}
	rs.count, rs.days = len(seen), len(full)
}

// settle lets the strictest of the limits that may bear on the wood decide.
func (m *MaskResult) settle() {
	decides := -1
	for i, l := range m.Limits {
		if l.Bearing != DoesNotApply && (decides < 0 || l.stricter(m.Limits[decides])) {
			decides = i
		}
	}
	none := decides < 0
	decides = max(decides, 0)
	m.Limits[decides].Governs = true
	d := m.Limits[decides]
	m.LimitID, m.LimitMgM3, m.State, m.Why = d.LimitID, d.LimitMgM3, d.State, d.Why
	m.HazardRatioAtLeast, m.HazardRatio, m.HazardRatioAtMost = d.HazardRatioAtLeast, d.HazardRatio, d.HazardRatioAtMost
	if len(m.Limits) > 1 {
		m.Why = words.Of("%s: %s", d.LimitID, m.Why)
	}
	if none && m.State != KeepOn {
		m.State, m.Why = MaskCannotTell, sentence([]words.Text{words.Of("none of the limits asked about is for this wood: %s", d.BearingWhy), words.Of("counts as keep it on")})
	}
}

// Strictness orders the states: the higher one wins.
func (s MaskState) Strictness() int {
	switch s {
	case NotShownNeeded:
		return 0
	case MaskCannotTell:
		return 1
	}
	return 2
}

// Label names task and material, as in "planing (oak)".
func (m MaskResult) Label() string {
	if m.Material == "" {
		return m.Task
	}
	return fmt.Sprintf("%s (%s)", m.Task, m.Material)
}

// Is reports whether the answer is for a task on a material.
func (m MaskResult) Is(task, material string) bool {
	return m.Task == strings.TrimSpace(task) && m.Material == materialName(material)
}

// Deciding is what was found against the limit that decides; nil if there is none.
func (m MaskResult) Deciding() *MaskLimit {
	for i, l := range m.Limits {
		if l.Governs {
			return &m.Limits[i]
		}
	}
	return nil
}

// KeepsOn says why a task keeps the respirator on whatever a sensor reads: the
// kind of work, or the wood. own is as for WoodOf. Nothing if neither does.
func KeepsOn(task, material string, own map[string]string) words.Text {
	if byDefault(task) {
		return words.Of("for this kind of work it stays on by default until filter samples in the breathing zone say otherwise")
	}
	if wood := sensitiser(material, own); wood != "" {
		return words.Of("it stays on for work with sensitising wood (%s) whatever the number says", wood)
	}
	return words.Text{}
}

// sensitiser names a sensitising wood in the material; "" if none is known.
func sensitiser(material string, own map[string]string) string {
	if wood := containsAny(material, sensitisers); wood != "" {
		return wood
	}
	if wood, _ := WoodOf(material, own); wood.Allergenic {
		return materialName(material)
	}
	return ""
}

// byDefault reports whether a task's name is one of dustyWork or an emptying.
func byDefault(task string) bool { return containsAny(task, dustyWork) != "" || empties(task) }

// MovesSettledDust reports whether a task's name is one of sweeping, blowing down or
// emptying.
func MovesSettledDust(task string) bool {
	return containsAny(task, whirlingWork) != "" || empties(task)
}

// empties reports whether a task's name is the emptying of a bag, bin or filter.
func empties(task string) bool {
	return containsAny(task, dustyVessels) != "" && containsAny(task, emptying) != ""
}

func containsAny(text string, words []string) string {
	text = strings.NewReplacer("-", " ", "_", " ").Replace(strings.ToLower(text))
	for _, w := range words {
		if strings.Contains(text, w) {
			return w
		}
	}
	return ""
}
