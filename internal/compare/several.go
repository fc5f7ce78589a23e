package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Against is one setup held against the reference, as one of several.
type Against struct {
	Result
	PHolm *float64 `json:"p_value_holm"`
	// The confidence of the interval that this setup's verdict was read off: higher
	// than of one comparison alone, by its place in Holm's order.
	StepConfidence float64  `json:"holm_step_confidence"`
	StepLow        *float64 `json:"holm_step_ci_low"`
	StepHigh       *float64 `json:"holm_step_ci_high"`
}

// CompareSeveral holds each of the setups but the first against the first. The
// result is that of the second with the list of all in Setups.
//
// Holm's step-down procedure keeps the chance of any false word of change among
// all m comparisons at 1 − confidence: the smallest p is judged at a confidence of
// 1 − α/m, the next at 1 − α/(m − 1), and so on; after the first that shows
// nothing, none of the others may claim a change. Source: Holm 1979, Scand. J.
// Stat. 6:65. Intervals shown as ci_low and ci_high are of one comparison alone.
// in.Before and in.After are not looked at.
func CompareSeveral(in Input, setups []string) (Result, error) {
	if err := checkSeveral(setups); err != nil {
		return Result{}, err
	}
	in = in.withDefaults()
	if len(in.PlanSetups) == 0 {
		in.PlanSetups = setups
	}
	list := make([]Against, 0, len(setups)-1)
	var studies []*study // to be asked again
	for _, name := range setups[1:] {
		in.Before, in.After = setups[0], name
		if err := in.check(); err != nil {
			return Result{}, err
		}
		st := newStudy(in)
		studies = append(studies, st.again())
		res := st.result()
		list = append(list, Against{Result: res, StepConfidence: in.Confidence, StepLow: res.CILow, StepHigh: res.CIHigh})
	}
	if len(list) > 1 {
		stepDown(in, studies, list)
	}
	first := list[0].Result
	if len(list) > 1 {
		first.Setups = list
	}
	return first, nil
}

func checkSeveral(setups []string) error {
	if len(setups) < 2 {
		return fmt.Errorf("compare: %d setup given, need two or more: %w", len(setups), dust.ErrUnknownSetup)
	}
	seen := map[string]bool{}
	for _, name := range setups {
		if seen[name] {
			return fmt.Errorf("compare: setup %s is named twice: name each once, the present one first", strconv.Quote(name))
		}
		seen[name] = true
	}
	return nil
}

// again is the study before it was asked. What it knows of background and spikes
// it keeps.
func (st *study) again() *study {
	fresh := *st
	fresh.excluded = slices.Clone(st.excluded)
	fresh.sessions = slices.Clone(st.sessions)
	fresh.analyses = map[question]analysis{}
	return &fresh
}

// stepDown judges the comparisons in the order of their p values.
func stepDown(in Input, studies []*study, list []Against) {
	order := make([]int, len(list))
	p := make([]float64, len(list))
	for i := range list {
		order[i], p[i] = i, 1 // none computed: nothing is shown
		if x := list[i].PValue; x != nil {
			p[i] = *x
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	adjusted := Holm(p)
	alpha := 1 - in.Confidence
	stopped := ""
	for step, i := range order {
		x := &list[i]
		if x.PValue != nil {
			x.PHolm = ptr(adjusted[i])
		}
		studies[i].in.Confidence = 1 - alpha/float64(len(list)-step)
		strict := studies[i].result()
		x.StepConfidence, x.StepLow, x.StepHigh = strict.Confidence, strict.CILow, strict.CIHigh
		x.judge(strict, len(list), stopped)
		if !x.Verdict.claimsChange() && stopped == "" {
			stopped = x.After
		}
	}
}

// judge takes over the verdict at the stricter confidence. stopped names the setup
// at which Holm's procedure ended before.
func (x *Against) judge(strict Result, m int, stopped string) {
	alone := x.Verdict
	x.Verdict, x.RestsOnLogNormal = strict.Verdict, strict.RestsOnLogNormal
	x.SessionsNeeded, x.MoreSessions = strict.SessionsNeeded, strict.MoreSessions
	x.Why = strict.Why
	if stopped != "" && x.Verdict.claimsChange() {
		x.Verdict, x.RestsOnLogNormal = NoReductionShown, false
	}
	if x.Verdict == alone || !alone.claimsChange() {
		return
	}
	if stopped != "" {
		x.Why = words.Of("Asked alone the verdict would be “%s”; but with %d setups asked about at once, and no change shown for “%s” with its smaller p, none may be claimed here (Holm 1979). No reduction is shown, which is not the same as no reduction.", alone.Text(), m, stopped)
		return
	}
	x.Why = sentences(x.Why, words.Of("Asked alone the verdict would be “%s”; with %d setups asked about at once the interval must be wider (%.4g %%).", alone.Text(), m, 100*x.StepConfidence))
}

// SetupsByRatio orders the list from the lowest ratio to the highest; those
// without one come last.
func (r Result) SetupsByRatio() []Against {
	value := func(x Against) float64 {
		if x.Ratio == nil {
			return math.Inf(1)
		}
		return *x.Ratio
	}
	out := slices.Clone(r.Setups)
	slices.SortStableFunc(out, func(a, b Against) int { return cmp.Compare(value(a), value(b)) })
	return out
}
