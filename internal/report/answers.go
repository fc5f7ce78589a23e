package report

import (
	"math"
	"strings"

	"dustlog/internal/compare"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Answers are the three questions that decide everything, answered from the
// results in words that need no training.
func Answers(in Input) []Answer {
	return []Answer{captured(in), stillNeeded(in), helped(in)}
}

func captured(in Input) Answer {
	a := Answer{Question: words.Of("Is fine dust captured, and not just chips?"), Tone: "open", Short: words.Of("cannot tell").Capital()}
	if in.Compare == nil {
		a.Why = words.Of("This needs two setups to compare. %s", in.NoCompare)
		return a
	}
	fine := in.Compare.Fine
	if fine == nil {
		a.Why = words.Of("The sensor compared sends one size only, so fine and coarse dust cannot be told apart.")
		return a
	}
	a.Short, a.Why = fine.Answer.Capital(), fine.Why
	switch {
	case fine.Fine.CIHigh != nil && *fine.Fine.CIHigh < 1 && strings.HasPrefix(fine.Answer.String(), "fine dust fell"):
		a.Tone = "yes"
	case fine.Fine.CILow != nil && *fine.Fine.CILow > 1:
		a.Tone = "no"
	}
	a.Figure = words.Of("fine dust (PM2.5) %s · coarser dust (PM10 − PM2.5) %s", effectText(fine.Fine), effectText(fine.Coarse))
	return a
}

func effectText(e compare.Effect) words.Text {
	if e.Ratio == nil {
		return words.Of("not known")
	}
	if e.CILow != nil && e.CIHigh != nil {
		return words.Of("%s (%s to %s)", changeText(*e.Ratio), changeText(*e.CILow), changeText(*e.CIHigh))
	}
	return changeText(*e.Ratio).Text()
}

// changeText prints a ratio after/before as a change in percent.
func changeText(ratio float64) words.Number {
	percent := math.Round((ratio - 1) * 100)
	switch {
	case percent == 0:
		return "±0 %"
	case percent < 0:
		return "−" + words.Fixed(-percent, 0) + " %"
	}
	return "+" + words.Fixed(percent, 0) + " %"
}

func stillNeeded(in Input) Answer {
	a := Answer{Question: words.Of("Is a respirator still needed?"), Tone: "open"}
	overall := exposure.OverallMask(in.Exposure.Masks)
	a.Why = overall.Why
	switch overall.State {
	case exposure.KeepOn:
		a.Short, a.Tone = words.Of("Yes, keep it on"), "no"
	case exposure.NotShownNeeded:
		a.Short = words.Of("Not shown to be needed, for the work below")
	default:
		a.Short = words.Of("cannot tell, so keep it on").Capital()
	}
	if overall.Worst != nil && overall.Worst.HighestMeanMgM3 != nil {
		a.Figure = words.Of("at least %.2f mg/m³ over one run of %s: the fine part only · limit %g mg/m³ of %s over %s",
			*overall.Worst.HighestMeanMgM3, overall.Worst.Task, in.Exposure.Limit.MgM3, words.Of("%s dust", exposure.FractionText(in.Exposure.Limit.FractionPrinted)), in.Exposure.Limit.AveragingPrinted)
	}
	return a
}

func helped(in Input) Answer {
	a := Answer{Question: words.Of("Did the change really reduce fine dust?"), Tone: "open", Short: words.Of("Not asked")}
	r := in.Compare
	if r == nil {
		a.Why = in.NoCompare
		return a
	}
	a.Question = words.Of("Did changing from “%s” to “%s” really reduce fine dust?", r.Before, r.After)
	a.Short, a.Why, a.Caution = heading(*r), r.Why, r.Caution
	switch r.Verdict {
	case compare.ReducedEnough, compare.ReducedUncertain, compare.ReducedLess:
		a.Tone = "yes"
	case compare.Increased, compare.NoneThatMatters:
		a.Tone = "no"
	}
	if r.Ratio != nil {
		parts := []words.Text{changeText(*r.Ratio).Text()}
		if r.CILow != nil && r.CIHigh != nil {
			parts = append(parts, words.Of("%.0f %% interval %s to %s", r.Confidence*100, changeText(*r.CILow), changeText(*r.CIHigh)))
		}
		a.Figure = words.Join(" · ", append(parts, words.Of("%d and %d %s", r.NBefore, r.NAfter, r.UnitsText()))...)
	}
	return a
}

// heading is the verdict as a headline. "Enough" is a word about the reduction
// asked for, not about the air, so the headline gives the number instead.
func heading(r compare.Result) words.Text {
	if r.Verdict == compare.ReducedEnough {
		return words.Of("Reduced by at least %.0f %%", r.SmallestChange)
	}
	return r.Verdict.Text().Capital()
}
