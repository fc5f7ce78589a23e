package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/compare"
)

// Errors of a question that cannot be planned for.
var ErrQuestion = errors.New("cannot plan this")

// Question is what is asked before a study.
type Question struct {
	Setups           []string // the present one first; two or more
	ReductionPercent float64  // hoped for
	Paired           bool     // every setup on every day, else one setup a day
	Sessions         int      // per setup (paired: days); 0: as many as the reduction takes
	// Measured is the spread of sessions seen so far; nil: compare.PlanningSD.
	Measured   *compare.Spread
	SD         float64 // ln units; 0: Measured, else compare.PlanningSD
	Confidence float64 // 0: 0.95
	Seed       uint64  // of the order; must not be 0
	First      time.Time
	Weekdays   []time.Weekday // of work; nil: Monday to Friday
}

// Plan is the answer.
type Plan struct {
	Schema     int      `json:"schema"`
	Setups     []string `json:"setups"`
	Paired     bool     `json:"paired_by_day"`
	Reduction  float64  `json:"reduction_percent"`
	SD         float64  `json:"planning_sd_ln"`
	SDFrom     string   `json:"planning_sd_from"`
	SDLow      *float64 `json:"planning_sd_low"` // 80 % limits, if measured
	SDHigh     *float64 `json:"planning_sd_high"`
	Confidence float64  `json:"confidence"`
	Power      float64  `json:"power"`
	Needed     int      `json:"sessions_needed_per_setup"` // paired: days with every setup
	NeededHigh *int     `json:"sessions_needed_at_sd_high"`
	Sessions   int      `json:"sessions_per_setup"`
	Days       int      `json:"days"`
	// What that many sessions show four times out of five.
	DetectablePercent float64    `json:"detectable_reduction_percent"`
	Takes             []Takes    `json:"sessions_by_reduction"`
	WeekPercent       float64    `json:"detectable_in_a_week_percent"`
	Seed              uint64     `json:"seed"`
	Order             []Step     `json:"order"`
	Notes             []string   `json:"notes"`
	First             *time.Time `json:"first_day"`
}

// Takes is what a true reduction takes.
type Takes struct {
	ReductionPercent float64 `json:"reduction_percent"`
	Sessions         int     `json:"sessions_per_setup"`
	Days             int     `json:"days"`
}

// Step is one day of the plan.
type Step struct {
	Day    int      `json:"day"`
	Date   string   `json:"date"`   // "" without a first day
	Setups []string `json:"setups"` // in this order on the day
}

// mostSessions bounds what is laid out day by day.
const mostSessions = 400

// Before plans a study. Errors wrap ErrQuestion.
func Before(q Question) (Plan, error) {
	if q.Confidence == 0 {
		q.Confidence = 0.95
	}
	if err := q.check(); err != nil {
		return Plan{}, err
	}
	p := Plan{
		Schema: 1, Setups: q.Setups, Paired: q.Paired, Reduction: q.ReductionPercent, Confidence: q.Confidence, Power: Power, Seed: q.Seed,
	}
	p.spread(q)
	step := q.stepConfidence()
	var err error
	if p.Needed, err = needed(q.ReductionPercent, p.SD, q.Paired, step); err != nil {
		return Plan{}, fmt.Errorf("%w: %w", ErrQuestion, err)
	}
	if p.SDHigh != nil {
		if n, err := needed(q.ReductionPercent, *p.SDHigh, q.Paired, step); err == nil {
			p.NeededHigh = &n
		}
	}
	for _, r := range []float64{20, 30, 40, 50, 70} {
		if n, err := needed(r, p.SD, q.Paired, step); err == nil {
			p.Takes = append(p.Takes, Takes{r, n, days(n, q)})
		}
	}
	p.Sessions = p.Needed
	if q.Sessions > 0 {
		p.Sessions = q.Sessions
	}
	p.Days = days(p.Sessions, q)
	p.DetectablePercent = 100 * compare.DetectableReduction(p.Sessions, p.SD, q.Paired, Power, step)
	p.WeekPercent = weekPercent(p.SD, q, step)
	if p.Sessions <= mostSessions {
		p.lay(q)
	}
	p.Notes = notes(p, q)
	return p, nil
}

func (q Question) check() error {
	switch {
	case len(q.Setups) < 2:
		return fmt.Errorf("%w: %d setup named, a comparison needs two or more", ErrQuestion, len(q.Setups))
	case !(q.ReductionPercent > 0 && q.ReductionPercent < 100):
		return fmt.Errorf("%w: a reduction of %g %% must lie between 0 and 100", ErrQuestion, q.ReductionPercent)
	case !(q.Confidence > 0 && q.Confidence < 1):
		return fmt.Errorf("%w: confidence %g must lie between 0 and 1", ErrQuestion, q.Confidence)
	case q.SD < 0 || math.IsInf(q.SD, 1) || math.IsNaN(q.SD):
		return fmt.Errorf("%w: a spread of %g must be above zero", ErrQuestion, q.SD)
	case q.Sessions != 0 && (q.Sessions < 2 || q.Sessions > mostSessions):
		return fmt.Errorf("%w: %d sessions per setup: from 2 to %d can be planned", ErrQuestion, q.Sessions, mostSessions)
	case q.Seed == 0:
		return fmt.Errorf("%w: the seed of the order must not be 0", ErrQuestion)
	}
	for i, name := range q.Setups {
		if name == "" || slices.Contains(q.Setups[:i], name) {
			return fmt.Errorf("%w: setup %q is empty or named twice", ErrQuestion, name)
		}
	}
	return nil
}

// stepConfidence is that of the first of several comparisons in Holm's order, to
// be on the cautious side.
func (q Question) stepConfidence() float64 {
	return 1 - (1-q.Confidence)/float64(len(q.Setups)-1)
}

// spread chooses the standard deviation to plan with. That of single sessions also
// stands in for that of daily differences, which alone a study by days can tell.
func (p *Plan) spread(q Question) {
	switch {
	case q.SD > 0:
		p.SD, p.SDFrom = q.SD, "given"
	case q.Measured != nil:
		p.SD = q.Measured.SD
		p.SDFrom = fmt.Sprintf("measured, %d sessions", q.Measured.Sessions)
		df := float64(q.Measured.DF())
		chi := distuv.ChiSquared{K: df}
		low, high := p.SD*math.Sqrt(df/chi.Quantile(0.9)), p.SD*math.Sqrt(df/chi.Quantile(0.1))
		p.SDLow, p.SDHigh = &low, &high
	default:
		p.SD, p.SDFrom = compare.PlanningSD, "usual day-to-day spread in wood shops, nothing measured yet"
	}
}

// needed is the number of sessions per setup, at least the three that an interval
// needs.
func needed(reductionPercent, sd float64, paired bool, confidence float64) (int, error) {
	n, err := compare.SessionsNeeded(reductionPercent/100, sd, paired, Power, confidence)
	return max(3, int(math.Ceil(n-1e-9))), err
}

func days(sessions int, q Question) int {
	if q.Paired {
		return sessions
	}
	return sessions * len(q.Setups)
}

// weekPercent is what one week of work can show; 100 if it cannot hold three
// sessions of each setup.
func weekPercent(sd float64, q Question, confidence float64) float64 {
	n := len(q.weekdays())
	if !q.Paired {
		n = int(math.Round(float64(n) / float64(len(q.Setups))))
	}
	if n < 3 {
		return 100
	}
	return 100 * compare.DetectableReduction(n, sd, q.Paired, Power, confidence)
}

func (q Question) weekdays() []time.Weekday {
	if len(q.Weekdays) > 0 {
		return q.Weekdays
	}
	return []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}
}

// lay lays the drawn order out on days.
func (p *Plan) lay(q Question) {
	day, n := q.First, 0
	next := func() (date string) {
		n++
		if q.First.IsZero() {
			return ""
		}
		for !slices.Contains(q.weekdays(), day.Weekday()) {
			day = day.AddDate(0, 0, 1)
		}
		date = day.Format(time.DateOnly)
		day = day.AddDate(0, 0, 1)
		return date
	}
	for _, block := range compare.DrawOrder(q.Seed, q.Setups, p.Sessions) {
		if q.Paired {
			date := next()
			p.Order = append(p.Order, Step{n, date, block})
			continue
		}
		for _, setup := range block {
			date := next()
			p.Order = append(p.Order, Step{n, date, []string{setup}})
		}
	}
	if !q.First.IsZero() {
		p.First = &q.First
	}
}

func notes(p Plan, q Question) []string {
	list := []string{looksWarning}
	if len(q.Setups) > 2 {
		list = append(list, fmt.Sprintf("%d setups are each held against “%s”, so each needs more than one alone would (Holm).", len(q.Setups)-1, q.Setups[0]))
	}
	if p.Sessions < p.Needed {
		list = append(list, fmt.Sprintf("%d sessions are too few for %.0f %%: they show a true reduction of %.0f %% or more.", p.Sessions, p.Reduction, p.DetectablePercent))
	}
	if p.NeededHigh != nil && *p.NeededHigh > p.Needed {
		list = append(list, fmt.Sprintf("The spread is measured on few sessions: it may be as large as %.2f, and then it takes %d.", *p.SDHigh, *p.NeededHigh))
	}
	if q.Paired && q.SD == 0 && q.Measured != nil {
		list = append(list, "The spread is that of single sessions; differences within a day may spread less.")
	}
	list = append(list,
		"More runs a day help little once days differ more than runs do; more days do.",
		"Same tasks, same wood, same grit, same running minutes under every setup; note doors, fans and how full the filter is. Change one thing at a time.")
	return list
}
