package exposure

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// Runs, each at least 75 % measured, before a low value counts (no published
// source; three days are the least of EN 689:2018's screening test).
const enoughRuns = 3

// Work that keeps the respirator on by default: sanding, turning, sweeping, air
// blowing and changing bags, bins or filters raise the most dust in published
// surveys and agencies' guidance. Any sanding counts, since a diary seldom tells
// hand from machine.
var dustyWork = []string{"sand", "turning", "lathe", "sweep", "broom", "blow", "compressed air"}

var dustyVessels = []string{"bag", "bin", "filter", "drum"}

var emptying = []string{"chang", "empt", "swap", "replac", "clean"}

// Woods that rules on wood dust name as allergenic (WAC 296-841-20025, from
// memory): the respirator stays on whatever the number says.
var sensitisers = []string{"cedar", "mahogany", "teak"}

// masks answers the respirator question for every task with a run measured in
// the breathing zone. Only runs under the newest setup count: they are what the
// next run will be like.
func masks(in Input, tasks []dust.Task, runs []taskRun) (results []MaskResult, warnings []string) {
	results = []MaskResult{}
	var names []string
	for _, t := range tasks {
		if slices.Contains(names, t.Name) {
			continue
		}
		names = append(names, t.Name)
		var seen []taskRun
		for _, r := range runs {
			if r.Task == t.Name && r.Position == dust.BreathingZone && r.MeanMgM3 != nil {
				seen = append(seen, r)
			}
		}
		if len(seen) == 0 {
			warnings = append(warnings, fmt.Sprintf("task %q: no reading from the breathing zone, so nothing is said about the respirator: keep it on", t.Name))
			continue
		}
		results = append(results, newMask(in, t.Name, seen))
	}
	return results, warnings
}

// evidence is what the runs of one task under one setup show.
type evidence struct {
	in      Input
	task    string
	runs    []taskRun
	earlier int     // runs left out because the setup has changed since
	mean    float64 // highest run mean
	ratio   float64 // highest hazard ratio, factor used where it may be
	lower   float64 // the same with the least that the factors leave
	upper   float64 // and with the most
	full    int     // runs at least 75 % measured
	notes   []string
	plain   bool // a run without a usable factor
	doubt   bool // a run saturated, extrapolated or without stated spread
	cedar   string
}

func newMask(in Input, task string, seen []taskRun) MaskResult {
	newest := seen[len(seen)-1].Setup
	e := evidence{in: in, task: task}
	for _, r := range seen {
		if r.Setup != newest {
			e.earlier++
			continue
		}
		e.runs = append(e.runs, r)
	}
	count := e.weigh()
	m := MaskResult{
		Task: task, Setup: newest, Runs: count, HighestMeanMgM3: &e.mean,
		LimitID: in.Limit.ID, LimitMgM3: in.Limit.MgM3,
	}
	if finite(e.upper) {
		m.HazardRatioAtLeast = &e.lower
		if !e.plain {
			m.HazardRatio, m.HazardRatioAtMost = &e.ratio, &e.upper
		}
	}
	m.State, m.Why = e.decide()
	return m
}

// weigh goes through the runs and returns how many there were.
func (e *evidence) weigh() int {
	seen, full := map[int]bool{}, map[int]bool{}
	for _, r := range e.runs {
		seen[r.run] = true
		full[r.run] = full[r.run] || r.m.coverage() >= enoughCoverage
		var worked []string
		if name := strings.TrimSpace(r.Material); name != "" {
			worked = []string{name}
		}
		c := calibrate(e.in.Factors[r.Sensor], factorUse{e.in.Limit, r.channel, r.Start.Format(time.DateOnly), worked, []string{r.Task}})
		x, low, high := *r.MeanMgM3, *r.MeanMgM3, *r.MeanMgM3
		if c.use {
			least, most := c.limits()
			net := c.net(*r.MeanMgM3, 1)
			x, low, high = net*c.Factor.Factor, net*least, net*most
		}
		e.mean = max(e.mean, *r.MeanMgM3)
		e.ratio = max(e.ratio, x/e.in.Limit.MgM3)
		e.lower = max(e.lower, low/e.in.Limit.MgM3)
		e.upper = max(e.upper, high/e.in.Limit.MgM3)
		e.plain = e.plain || !c.use
		e.doubt = e.doubt || !c.stated() || Extrapolated(r.channel) || r.m.saturatedShare() > mostSaturated
		e.notes = append(e.notes, c.note)
		if !c.use {
			e.notes = append(e.notes, notLowerBound(r.channel, c))
		}
		if wood := containsAny(r.Material, sensitisers); wood != "" {
			e.cedar = wood
		}
	}
	for _, ok := range full {
		if ok {
			e.full++
		}
	}
	return len(seen)
}

// notLowerBound says why a plain reading may be above the truth.
func notLowerBound(channel dust.Channel, c calibration) string {
	switch {
	case Extrapolated(channel):
		return fmt.Sprintf("%s of an optical sensor is extrapolated from finer particles, so \"at least\" does not hold for it", channel.Label())
	case c.overreads:
		return "the sensor's own factor is below 1: it over-reads, so \"at least\" does not hold for it"
	}
	return "uncalibrated reading, \"at least\" only if the sensor does not over-read"
}

func (e *evidence) decide() (MaskState, string) {
	tail := slices.DeleteFunc(slices.Clone(e.notes), func(note string) bool { return note == "" })
	if e.earlier > 0 {
		tail = append(tail, fmt.Sprintf("%d earlier runs under another setup are left out", e.earlier))
	}
	if e.ratio > 1 {
		times := fmt.Sprintf("at least %s", number(e.lower))
		if e.lower <= 1 {
			times = fmt.Sprintf("%s (%s to %s with the factor's spread or uncertainty)", number(e.ratio), number(e.lower), number(e.upper))
		}
		why := fmt.Sprintf("the highest run mean is %s times the limit of %s mg/m³", times, number(e.in.Limit.MgM3))
		return KeepOn, sentence(append([]string{why}, tail...))
	}
	if byDefault(e.task) {
		return KeepOn, sentence(append([]string{"for this kind of work it stays on by default until filter samples in the breathing zone say otherwise"}, tail...))
	}
	if e.cedar != "" {
		return KeepOn, sentence(append([]string{"it stays on for work with sensitising wood (" + e.cedar + ") whatever the number says"}, tail...))
	}
	against := e.against()
	if len(against) > 0 {
		return MaskCannotTell, sentence(append(append(against, tail...), "counts as keep it on"))
	}
	why := fmt.Sprintf("over %d runs at most %s times the limit, the factor's spread or uncertainty included", e.full, number(e.upper))
	return NotShownNeeded, sentence(append([]string{why}, append(tail,
		"the air stays dusty for minutes after the task, and below a limit is not the goal for a carcinogen")...))
}

// against lists why low runs do not settle the question.
func (e *evidence) against() []string {
	var why []string
	add := func(yes bool, text string) {
		if yes {
			why = append(why, text)
		}
	}
	add(e.in.Limit.Fraction.coarse(), fmt.Sprintf("no optical sensor can show that a limit for %s dust is met", e.in.Limit.FractionPrinted))
	add(e.plain, "without a factor for the limit's fraction a reading is at best a lower bound")
	add(!e.plain && e.upper > 1, fmt.Sprintf("with the factor's spread or uncertainty the highest run may be %s times the limit", number(e.upper)))
	add(!e.plain && e.doubt, "a run was at the top of the sensor's range, or extrapolated, or the factor has no stated spread")
	add(e.full < enoughRuns, fmt.Sprintf("runs at least 75 %% measured: %d, the least is %d", e.full, enoughRuns))
	return why
}

// byDefault reports whether a task's name is one of dustyWork, or the emptying
// of a bag, bin or filter.
func byDefault(task string) bool {
	if containsAny(task, dustyWork) != "" {
		return true
	}
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
