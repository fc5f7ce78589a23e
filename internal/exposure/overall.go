package exposure

import (
	"fmt"
	"strings"
)

// OverallResult is the respirator question for all the work seen.
type OverallResult struct {
	State MaskState
	Why   string
	Worst *MaskResult // the task with the highest run mean; nil if there is none
}

// OverallMask joins the answers for single tasks: the strictest one holds.
func OverallMask(tasks []MaskResult) OverallResult {
	if len(tasks) == 0 {
		return OverallResult{State: MaskCannotTell, Why: "No task with readings from the breathing zone was recorded, so nothing can be said; that counts as keep it on."}
	}
	byState := map[MaskState][]string{}
	var worst *MaskResult
	for i, t := range tasks {
		byState[t.State] = append(byState[t.State], t.Task)
		if t.HighestMeanMgM3 != nil && (worst == nil || *t.HighestMeanMgM3 > *worst.HighestMeanMgM3) {
			worst = &tasks[i]
		}
	}
	var parts []string
	if names := byState[KeepOn]; len(names) > 0 {
		parts = append(parts, fmt.Sprintf("Keep it on for %s.", strings.Join(names, ", ")))
	}
	if names := byState[MaskCannotTell]; len(names) > 0 {
		parts = append(parts, fmt.Sprintf("For %s the sensor cannot tell, because it sees fine dust only; that counts as keep it on.", strings.Join(names, ", ")))
	}
	if names := byState[NotShownNeeded]; len(names) > 0 {
		parts = append(parts, fmt.Sprintf("Not shown to be needed for %s, minutes after other dusty work excepted.", strings.Join(names, ", ")))
	}
	result := OverallResult{State: NotShownNeeded, Why: strings.Join(parts, " "), Worst: worst}
	switch {
	case len(byState[KeepOn]) > 0:
		result.State = KeepOn
	case len(byState[MaskCannotTell]) > 0:
		result.State = MaskCannotTell
	}
	return result
}
