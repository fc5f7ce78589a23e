package study

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/words"
)

// RespiratorAnswer is what every output renders of the respirator question. Keys
// are only ever added.
type RespiratorAnswer struct {
	Schema int    `json:"schema"`
	Metric string `json:"metric"`
	Setup  string `json:"setup"`      // in use now; "" if none was declared
	Asked  string `json:"task_asked"` // "" if all tasks are shown
	// Now is the answer of this moment, from the last hours' readings in the store.
	Now      respirator.Status       `json:"now"`
	Limit    exposure.Limit          `json:"limit"`
	Also     []exposure.Limit        `json:"other_limits"`
	Tasks    []RespiratorTask        `json:"tasks"`
	Clearing []RespiratorClearing    `json:"after_work"`
	Outlook  []respirator.Outlook    `json:"outlook"` // of today, by sensor in the breathing zone
	Stricter []respirator.Stricter   `json:"stricter_recommendations"`
	Factors  RespiratorFactorsSource `json:"protection_factors"`
	Cautions []respirator.Caution    `json:"cautions"`
	Warnings []words.Text            `json:"warnings"`
	Method   words.Text              `json:"method"`
}

// RespiratorFactorsSource says what the classes were taken from.
type RespiratorFactorsSource struct {
	AsOf      string     `json:"as_of"`
	Elsewhere words.Text `json:"elsewhere"`
}

// RespiratorTask is the answer for one task and material from its past runs, for
// the setup in use now, and the classes that cover it.
type RespiratorTask struct {
	exposure.MaskResult
	KeepOn  bool                `json:"keep_on"` // "cannot tell" counts as keep it on
	Classes []respirator.Choice `json:"classes"` // by table; none where no ratio is known
}

// RespiratorClearing is how long the air stays dusty after work, at one sensor
// under one setup.
type RespiratorClearing struct {
	Sensor     string   `json:"sensor"`
	Setup      string   `json:"setup"`
	InUse      bool     `json:"setup_in_use"`
	Decays     int      `json:"decays"`
	PerHour    *float64 `json:"rate_per_h"`
	LowPerHour *float64 `json:"next_rate_lower_limit_per_h"` // one-sided 95 %
	Background *float64 `json:"level_without_work_ug_m3"`
	Back       *float64 `json:"back_ug_m3"` // at or below counts as back there
	Dustiest   *float64 `json:"dustiest_end_of_work_ug_m3"`
	// Minutes from the dustiest end of work seen until the air is back, and an upper
	// bound: at the lower limit of the rate.
	Minutes      *float64   `json:"minutes"`
	MinutesUpper *float64   `json:"minutes_upper_bound"`
	Why          words.Text `json:"why"`
}

// RespiratorQuestion asks whether the respirator is still needed.
type RespiratorQuestion struct {
	Window   Window // past days to learn from
	Now      time.Time
	Task     string // show this task, whether or not it is running; "": all
	Material string // with Task
	Rules    respirator.Rules
	Sleeps   map[string]time.Duration // by sensor: how long it is silent by plan
}

// respiratorMetric is what is watched: the finest mass that all sensors send.
const respiratorMetric = dust.PM25

// watchedFor is how far back the readings are played to find the present state.
const watchedFor = 4 * time.Hour

func respiratorMethod() words.Text {
	return words.Join("; ",
		words.Of("task: mean over each run against each limit that may bear on the wood, the strictest decides"),
		words.Of("upper level: e^(ȳ + K·s) of the days' highest runs, 95 %% of days with 95 %% confidence (Odeh and Owen 1980), with the most that the factor leaves"),
		words.Of("classes: assigned protection factor ≥ hazard ratio"),
		words.Of("after work: C(t) = Cbg + (C − Cbg)·exp(−λt) with the lower limit of λ and the upper limit of Cbg"),
		words.Of("back: at most twice the level without work, or 5 µg/m³ above it"),
		words.Of("cannot tell counts as keep it on"))
}

// Respirator answers the respirator question for past tasks and for now.
func (s *Study) Respirator(ctx context.Context, q RespiratorQuestion) (RespiratorAnswer, error) {
	published, err := respirator.Published()
	if err != nil {
		return RespiratorAnswer{}, err
	}
	known, err := s.learn(ctx, q.Window)
	if err != nil {
		return RespiratorAnswer{}, err
	}
	a := RespiratorAnswer{
		Schema: 1, Metric: respiratorMetric.Metric(), Setup: dust.SetupAt(s.setups, q.Now), Asked: q.Task,
		Limit: s.settings.Limit, Also: append([]exposure.Limit{}, s.settings.Also...),
		Tasks: []RespiratorTask{}, Clearing: known.after(dust.SetupAt(s.setups, q.Now)), Outlook: []respirator.Outlook{},
		Stricter: published.Stricter, Factors: RespiratorFactorsSource{published.AsOf, published.Elsewhere},
		Warnings: known.warnings, Method: respiratorMethod(),
	}
	if a.Now, err = s.respiratorNow(ctx, q, known); err != nil {
		return RespiratorAnswer{}, err
	}
	for _, m := range known.asked(q) {
		a.Tasks = append(a.Tasks, taskFor(m, a.Setup, published))
	}
	tasks, err := s.records.Tasks(ctx, q.Now.Add(-watchedFor), q.Now)
	if err != nil {
		return RespiratorAnswer{}, err
	}
	a.Outlook = known.outlook(q, tasks, s.settings.Zone)
	a.Cautions = published.Matter(q.Task != "" || slices.ContainsFunc(a.Tasks, RespiratorTask.namesClasses), slices.ContainsFunc(a.Tasks, RespiratorTask.whirlsUp))
	return a, nil
}

// Facts is what a machine that watches live needs to know of past days.
func (s *Study) Facts(ctx context.Context, w Window) (respirator.Facts, error) {
	known, err := s.learn(ctx, w)
	return known.facts, err
}

// learned is what past days tell.
type learned struct {
	facts    respirator.Facts
	exposure exposure.Result
	cleared  []clearance.Result // one a sensor
	warnings []words.Text
}

func (s *Study) learn(ctx context.Context, w Window) (learned, error) {
	k := learned{warnings: []words.Text{}}
	swapped, err := s.swapped(ctx, w.To)
	if err != nil {
		return k, err
	}
	if swapped.After(w.From) {
		w.From = swapped
		k.warnings = append(k.warnings, words.Of("a sensor was put in place of another, or moved: only what was recorded since then counts here"))
	}
	result, err := s.Exposure(ctx, respiratorMetric, w)
	switch {
	case errors.Is(err, dust.ErrNoReadings):
		k.warnings = append(k.warnings, words.OfError(err))
	case err != nil:
		return k, err
	}
	k.exposure = result
	k.warnings = append(k.warnings, result.Warnings...)
	k.facts = respirator.Facts{Masks: result.Masks, Materials: s.settings.Materials, LimitUgM3: s.lowestLimit()}
	for _, watched := range respirator.Watch(s.sensors, s.settings.Atmospheric) {
		r, err := s.Clearance(ctx, Clearing{Metric: respiratorMetric, Sensor: watched.Sensor.Name, Window: w})
		if errors.Is(err, dust.ErrNoReadings) {
			continue
		}
		if err != nil {
			return k, err
		}
		k.cleared = append(k.cleared, r)
		for _, setup := range r.Setups {
			if rate, ok := setup.Rate(); ok {
				k.facts.Clearing = append(k.facts.Clearing, respirator.Clearing{Sensor: r.Sensor, Setup: setup.Setup, Runs: setup.Runs, Rate: rate})
			}
		}
	}
	return k, nil
}

// eventRecords is a store that keeps what happened to sensors.
type eventRecords interface {
	Events(ctx context.Context, from, to time.Time) ([]dust.Event, error)
}

// swapped is when a watched sensor last became another model, or moved: what the one
// before taught of tasks and of the room says nothing of it.
func (s *Study) swapped(ctx context.Context, until time.Time) (last time.Time, err error) {
	records, ok := s.records.(eventRecords)
	if !ok {
		return last, nil
	}
	events, err := records.Events(ctx, time.Time{}, until)
	if err != nil {
		return last, err
	}
	watched := respirator.Watch(s.sensors, s.settings.Atmospheric)
	for _, e := range events {
		mine := slices.ContainsFunc(watched, func(w respirator.Watched) bool { return w.Sensor.Name == e.Sensor })
		if mine && e.Kind == "sensor_changed" && e.Time.After(last) {
			last = e.Time
		}
	}
	return last, nil
}

// lowestLimit is that of the chosen ones, µg/m³.
func (s *Study) lowestLimit() float64 {
	lowest := s.settings.Limit.MgM3
	for _, l := range s.settings.Also {
		lowest = min(lowest, l.MgM3)
	}
	return lowest * float64(dust.MilligramPerM3)
}

// respiratorNow plays the last hours to a machine.
func (s *Study) respiratorNow(ctx context.Context, q RespiratorQuestion, known learned) (respirator.Status, error) {
	from := q.Now.Add(-watchedFor)
	watched := respirator.Watch(s.sensors, s.settings.Atmospheric)
	var series []*dust.Series
	for i, w := range watched {
		watched[i].Sleeps = q.Sleeps[w.Sensor.Name]
		one, err := s.Series(ctx, w.Sensor, respiratorMetric, Window{from, q.Now.Add(time.Millisecond)})
		if err != nil {
			return respirator.Status{}, err
		}
		series = append(series, one)
	}
	tasks, err := s.records.Tasks(ctx, from, q.Now.Add(time.Millisecond))
	if err != nil {
		return respirator.Status{}, err
	}
	m := respirator.NewMachine(q.Rules, watched, respirator.Instant{Wall: from})
	m.Learn(known.facts, nil)
	return respirator.Replay(m, series, tasks, s.setups, from, q.Now), nil
}

// asked are the tasks that an answer speaks of. A task without a past run gets
// the answer that its name and wood alone give.
func (k learned) asked(q RespiratorQuestion) (masks []exposure.MaskResult) {
	for _, m := range k.exposure.Masks {
		if q.Task == "" || m.Task == q.Task && (q.Material == "" || m.Is(q.Task, q.Material)) {
			masks = append(masks, m)
		}
	}
	if q.Task == "" || len(masks) > 0 {
		return masks
	}
	m := exposure.MaskResult{Task: q.Task, Material: strings.ToLower(strings.TrimSpace(q.Material)), State: exposure.MaskCannotTell,
		Why: words.Of("no run of it was measured in the breathing zone; counts as keep it on"), Limits: []exposure.MaskLimit{}}
	if why := exposure.KeepsOn(q.Task, q.Material, k.facts.Materials); !why.IsZero() {
		m.State, m.Why = exposure.KeepOn, why
	}
	return []exposure.MaskResult{m}
}

// taskFor adds the classes, and takes back an answer that rests on another setup.
func taskFor(m exposure.MaskResult, setup string, published respirator.Factors) RespiratorTask {
	if m.State == exposure.NotShownNeeded && m.Setup != setup {
		m.State, m.Why = exposure.MaskCannotTell, words.Of("its runs were under the setup %q, and %q is in use now; counts as keep it on", m.Setup, setup)
	}
	t := RespiratorTask{MaskResult: m, KeepOn: m.State != exposure.NotShownNeeded, Classes: []respirator.Choice{}}
	if l := m.Deciding(); l != nil && l.HazardRatioToCover != nil {
		t.Classes = published.Covering(*l.HazardRatioToCover, l.AtLeast)
	}
	return t
}

func (t RespiratorTask) namesClasses() bool { return len(t.Classes) > 0 }

func (t RespiratorTask) whirlsUp() bool { return exposure.MovesSettledDust(t.Task) }

// outlook is today's, for the task asked about or the one that is running.
func (k learned) outlook(q RespiratorQuestion, tasks []dust.Task, zone *time.Location) []respirator.Outlook {
	if zone == nil {
		zone = time.UTC
	}
	task, material := q.Task, q.Material
	for _, t := range tasks {
		if q.Task == "" && (t.Running() || t.Stop.After(q.Now)) {
			task, material = t.Name, t.Material
		}
	}
	var mask *exposure.MaskResult
	for i, m := range k.exposure.Masks {
		if m.Is(task, material) || q.Task != "" && q.Material == "" && m.Task == task && mask == nil {
			mask = &k.exposure.Masks[i]
		}
	}
	out := []respirator.Outlook{}
	for _, shift := range k.exposure.Shifts {
		today := shift.Start.In(zone).Format(time.DateOnly) == q.Now.In(zone).Format(time.DateOnly) || !q.Now.Before(shift.Start) && q.Now.Before(shift.End)
		if today && shift.Position == dust.BreathingZone {
			out = append(out, respirator.Ahead(shift, mask, q.Now))
		}
	}
	return out
}

// after is how long the air stays dusty, sensor by sensor and setup by setup.
func (k learned) after(inUse string) []RespiratorClearing {
	out := []RespiratorClearing{}
	for _, r := range k.cleared {
		for _, s := range r.Setups {
			out = append(out, clearingOf(r, s, inUse))
		}
	}
	return out
}

func clearingOf(r clearance.Result, s clearance.SetupClearance, inUse string) RespiratorClearing {
	c := RespiratorClearing{Sensor: r.Sensor, Setup: s.Setup, InUse: s.Setup == inUse, Decays: s.Runs, PerHour: s.PerHour, LowPerHour: s.NextLow, Background: s.Background, Why: s.Why}
	rate, ok := s.Rate()
	if !ok {
		return c
	}
	back := respirator.Clearing{Runs: s.Runs, Rate: rate}.Back()
	c.Back = &back
	for _, d := range r.Decays {
		if d.Pooled && d.Setup == s.Setup && d.C0 != nil && (c.Dustiest == nil || *d.C0 > *c.Dustiest) {
			c.Dustiest = d.C0
		}
	}
	if c.Dustiest == nil {
		return c
	}
	wait := clearance.MinutesUntil(back, *c.Dustiest, rate)
	c.Minutes, c.MinutesUpper = wait.Estimate, wait.Upper
	if !wait.Why.IsZero() {
		c.Why = wait.Why
	}
	return c
}
