package plan

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/compare"
)

// After is how many more sessions would settle what a comparison left open.
type After struct {
	Before  string          `json:"before"`
	After   string          `json:"after"`
	Verdict compare.Verdict `json:"verdict"`
	Paired  bool            `json:"paired_by_day"`
	NBefore int             `json:"n_before"`
	NAfter  int             `json:"n_after"`
	SD      float64         `json:"sd_ln"`
	SDFrom  string          `json:"sd_from"`
	// To show the smallest change that matters, if it is there, four times of five.
	ToShow *int `json:"sessions_to_show_smallest_change"`
	// To tell whether the reduction is enough, if the ratio seen so far is the true one.
	ToSettle *int   `json:"sessions_to_settle_at_ratio_seen"`
	More     *int   `json:"more_sessions_per_setup"` // the larger of the two, less what there is
	Detect   *int   `json:"detectable_reduction_percent_now"`
	Answer   string `json:"answer"`
	Looks    string `json:"note"`
}

// Answers is one document of them.
type Answers struct {
	Schema  int     `json:"schema"`
	Answers []After `json:"answers"`
}

// mostSensible is the number of sessions above which no shop goes on.
const mostSensible = 200

// Settle says what it would take to settle a comparison.
func Settle(r compare.Result) After {
	a := After{
		Before: r.Before, After: r.After, Verdict: r.Verdict, Paired: r.Paired,
		NBefore: r.NBefore, NAfter: r.NAfter, SD: compare.PlanningSD, SDFrom: "usual day-to-day spread, too little measured", Looks: looksWarning,
	}
	if r.SpreadLn != nil && *r.SpreadLn > 0 {
		a.SD, a.SDFrom = *r.SpreadLn, "measured"
	}
	switch r.Verdict {
	case compare.Increased, compare.ReducedEnough, compare.ReducedLess, compare.NoneThatMatters:
		a.Answer = fmt.Sprintf("It is settled: %s. More sessions would only narrow the interval.", r.Verdict)
		return a
	}
	have := min(r.NBefore, r.NAfter)
	if have >= 2 {
		d := int(math.Round(100 * compare.DetectableReduction(have, a.SD, r.Paired, Power, r.Confidence)))
		a.Detect = &d
	}
	smallest := -math.Log1p(-r.SmallestChange / 100)
	a.ToShow = sessions(smallest, a.SD, r)
	if r.Ratio != nil && *r.Ratio > 0 && a.Detect != nil {
		a.ToSettle = sessions(distance(math.Log(*r.Ratio), -smallest), a.SD, r)
	}
	if blocked := sharedTooLarge(r, smallest); blocked != "" {
		a.ToShow, a.ToSettle, a.Answer = nil, nil, blocked
		return a
	}
	a.answer(r, have)
	return a
}

// distance is from the ln ratio seen to the nearest border of a verdict: no change,
// or the smallest change that matters.
func distance(ln, enough float64) float64 {
	return math.Min(math.Abs(ln), math.Abs(ln-enough))
}

// sessions is how many there must be; nil if more than anyone would hold.
func sessions(shift, sd float64, r compare.Result) *int {
	x, err := compare.SessionsForShift(shift, sd, r.Paired, Power, r.Confidence)
	if n := max(3, int(math.Ceil(x-1e-9))); err == nil && n <= mostSensible {
		return &n
	}
	return nil
}

// sharedTooLarge says that no number of sessions would do: the errors of
// background and drift are shared by all of them.
func sharedTooLarge(r compare.Result, smallest float64) string {
	u := math.Hypot(r.Uncertainty.Background, r.Uncertainty.Drift)
	z := distuv.UnitNormal.Quantile(0.5 + r.Confidence/2)
	if z*u < smallest {
		return ""
	}
	what := "the background"
	if r.Uncertainty.Drift > r.Uncertainty.Background {
		what = "the sensor's drift"
	}
	return fmt.Sprintf("No number of sessions would show a reduction of %.0f %%: %s alone leaves ± %.0f %% open, and that does not shrink with sessions.",
		r.SmallestChange, what, 100*math.Expm1(z*u))
}

func (a *After) answer(r compare.Result, have int) {
	unit, where := "session", " under each setup"
	if r.Paired {
		unit, where = "day", " with both setups"
	}
	most := 0
	for _, n := range []*int{a.ToShow, a.ToSettle} {
		if n != nil {
			most = max(most, *n)
		}
	}
	switch {
	case a.ToShow == nil:
		a.Answer = fmt.Sprintf("More than %d %ss%s would be needed to show a reduction of %.0f %%: the sessions spread too much (sd %.2f). Look for what makes them differ, or ask for a larger reduction.",
			mostSensible, unit, where, r.SmallestChange, a.SD)
		return
	case a.ToSettle == nil && a.Detect != nil:
		a.Answer = fmt.Sprintf("The ratio seen lies on the border of a verdict, so if it is the true one no sensible number of sessions decides. A reduction of %.0f %%, if it is there, shows in %d %ss%s.",
			r.SmallestChange, *a.ToShow, unit, where)
		most = *a.ToShow
	default:
		a.Answer = fmt.Sprintf("%d %ss%s would settle it four times out of five", most, unit, where)
		if most > have {
			a.Answer += fmt.Sprintf(": %d more than there are", most-have)
		} else {
			a.Answer += ": there are as many, and it is not settled; the fifth time is now"
		}
		a.Answer += "."
	}
	more := max(0, most-have)
	a.More = &more
}
