package report

import (
	"fmt"
	"math"
	"strings"

	"dustlog/internal/compare"
	"dustlog/internal/exposure"
)

// Answers are the three questions that decide everything, answered from the
// results in words that need no training.
func Answers(in Input) []Answer {
	return []Answer{captured(in), stillNeeded(in), helped(in)}
}

func captured(in Input) Answer {
	a := Answer{Question: "Is fine dust captured, and not just chips?", Tone: "open", Short: "Cannot tell"}
	if in.Compare == nil {
		a.Why = "This needs two setups to compare. " + in.NoCompare
		return a
	}
	fine := in.Compare.Fine
	if fine == nil {
		a.Why = "The sensor compared sends one size only, so fine and coarse dust cannot be told apart."
		return a
	}
	a.Short, a.Why = capital(fine.Answer), fine.Why
	switch {
	case fine.Fine.CIHigh != nil && *fine.Fine.CIHigh < 1 && strings.HasPrefix(fine.Answer, "fine dust fell"):
		a.Tone = "yes"
	case fine.Fine.CILow != nil && *fine.Fine.CILow > 1:
		a.Tone = "no"
	}
	a.Figure = fmt.Sprintf("fine dust (PM2.5) %s · coarser dust (PM10 − PM2.5) %s", effectText(fine.Fine), effectText(fine.Coarse))
	return a
}

func effectText(e compare.Effect) string {
	if e.Ratio == nil {
		return "not known"
	}
	text := changeText(*e.Ratio)
	if e.CILow != nil && e.CIHigh != nil {
		text += fmt.Sprintf(" (%s to %s)", changeText(*e.CILow), changeText(*e.CIHigh))
	}
	return text
}

// changeText prints a ratio after/before as a change in percent.
func changeText(ratio float64) string {
	percent := math.Round((ratio - 1) * 100)
	switch {
	case percent == 0:
		return "±0 %"
	case percent < 0:
		return fmt.Sprintf("−%.0f %%", -percent)
	}
	return fmt.Sprintf("+%.0f %%", percent)
}

func stillNeeded(in Input) Answer {
	a := Answer{Question: "Is a respirator still needed?", Tone: "open"}
	overall := exposure.OverallMask(in.Exposure.Masks)
	a.Why = overall.Why.String()
	switch overall.State {
	case exposure.KeepOn:
		a.Short, a.Tone = "Yes, keep it on", "no"
	case exposure.NotShownNeeded:
		a.Short = "Not shown to be needed, for the work below"
	default:
		a.Short = "Cannot tell, so keep it on"
	}
	if overall.Worst != nil && overall.Worst.HighestMeanMgM3 != nil {
		a.Figure = fmt.Sprintf("at least %.2f mg/m³ over one run of %s: the fine part only · limit %g mg/m³ of %s dust over %s",
			*overall.Worst.HighestMeanMgM3, overall.Worst.Task, in.Exposure.Limit.MgM3, in.Exposure.Limit.FractionPrinted, in.Exposure.Limit.AveragingPrinted)
	}
	return a
}

func helped(in Input) Answer {
	a := Answer{Question: "Did the change really reduce fine dust?", Tone: "open", Short: "Not asked"}
	r := in.Compare
	if r == nil {
		a.Why = in.NoCompare
		return a
	}
	a.Question = fmt.Sprintf("Did changing from “%s” to “%s” really reduce fine dust?", r.Before, r.After)
	a.Short, a.Why, a.Caution = heading(*r), r.Why, r.Caution
	switch r.Verdict {
	case compare.ReducedEnough, compare.ReducedUncertain, compare.ReducedLess:
		a.Tone = "yes"
	case compare.Increased, compare.NoneThatMatters:
		a.Tone = "no"
	}
	if r.Ratio != nil {
		a.Figure = changeText(*r.Ratio)
		if r.CILow != nil && r.CIHigh != nil {
			a.Figure += fmt.Sprintf(" · %.0f %% interval %s to %s", r.Confidence*100, changeText(*r.CILow), changeText(*r.CIHigh))
		}
		a.Figure += fmt.Sprintf(" · %d and %d %ss", r.NBefore, r.NAfter, r.UnitOfReplication)
	}
	return a
}

// heading is the verdict as a headline. "Enough" is a word about the reduction
// asked for, not about the air, so the headline gives the number instead.
func heading(r compare.Result) string {
	if r.Verdict == compare.ReducedEnough {
		return fmt.Sprintf("Reduced by at least %.0f %%", r.SmallestChange)
	}
	return capital(string(r.Verdict))
}
