package exposure

import (
	"strings"

	"dustlog/internal/words"
)

// OverallResult is the respirator question for all the work seen.
type OverallResult struct {
	State MaskState
	Why   words.Text
	Worst *MaskResult // the task with the highest run mean; nil if there is none
}

// OverallMask joins the answers for single tasks: the strictest one holds.
func OverallMask(tasks []MaskResult) OverallResult {
	if len(tasks) == 0 {
		return OverallResult{State: MaskCannotTell, Why: words.Of("No task with readings from the breathing zone was recorded, so nothing can be said; that counts as keep it on.")}
	}
	byState := map[MaskState][]string{}
	reason := map[MaskState]words.Text{}
	var worst *MaskResult
	for i, t := range tasks {
		byState[t.State] = append(byState[t.State], t.Label())
		if reason[t.State].IsZero() {
			reason[t.State] = t.Why.Until(";")
		}
		if t.HighestMeanMgM3 != nil && (worst == nil || *t.HighestMeanMgM3 > *worst.HighestMeanMgM3) {
			worst = &tasks[i]
		}
	}
	var parts []words.Text
	if names := byState[KeepOn]; len(names) > 0 {
		parts = append(parts, words.Of("Keep it on for %s: %s.", strings.Join(names, ", "), reason[KeepOn]))
	}
	if names := byState[MaskCannotTell]; len(names) > 0 {
		parts = append(parts, words.Of("For %s it cannot be told, since %s; that counts as keep it on.", strings.Join(names, ", "), reason[MaskCannotTell]))
	}
	if names := byState[NotShownNeeded]; len(names) > 0 {
		parts = append(parts, words.Of("Not shown to be needed for %s: %s. The minutes after dusty work are another matter.", strings.Join(names, ", "), reason[NotShownNeeded]))
	}
	result := OverallResult{State: NotShownNeeded, Why: words.Join(" ", parts...), Worst: worst}
	switch {
	case len(byState[KeepOn]) > 0:
		result.State = KeepOn
	case len(byState[MaskCannotTell]) > 0:
		result.State = MaskCannotTell
	}
	return result
}
