package study

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/words"
)

func TestAnAnswerUnderAnotherSetupIsTakenBack(t *testing.T) {
	published, err := respirator.Published()
	require.NoError(t, err)
	ratio := 4.667
	m := exposure.MaskResult{Task: "assembly", Setup: "hood", State: exposure.NotShownNeeded, Why: words.Literal("from 5 days"),
		Limits: []exposure.MaskLimit{{LimitID: "uk-hard", Governs: true, HazardRatioToCover: &ratio}}}
	require.Equal(t, exposure.NotShownNeeded, taskFor(m, "hood", published).State)
	other := taskFor(m, "no hood", published)
	require.Equal(t, exposure.MaskCannotTell, other.State)
	require.Contains(t, other.Why.String(), `"no hood" is in use now`)
	// 14 mg/m³ against 3: FFP1 (4) is too low, FFP2 (10) covers it.
	uk := other.Classes[1]
	require.Equal(t, "FFP2 (filtering half mask, EN 149)", uk.Covers[0].Label())
	require.Equal(t, 4.0, uk.TooLow[0].APF)
	m.Limits[0].AtLeast = true
	require.Empty(t, taskFor(m, "hood", published).Classes[1].Covers)
	m.State, m.Setup = exposure.KeepOn, "older"
	require.Equal(t, exposure.KeepOn, taskFor(m, "hood", published).State, "a stricter answer stays")
}

func TestATaskThatWasNeverMeasured(t *testing.T) {
	k := learned{}
	ask := func(task, material string) exposure.MaskResult {
		masks := k.asked(RespiratorQuestion{Task: task, Material: material})
		require.Len(t, masks, 1)
		return masks[0]
	}
	require.Equal(t, exposure.MaskCannotTell, ask("routing", "oak").State)
	require.Equal(t, exposure.KeepOn, ask("sweeping", "").State)
	require.Equal(t, exposure.KeepOn, ask("routing", "Western red cedar").State)
	require.Empty(t, k.asked(RespiratorQuestion{}))
}

// The outlook is of today's shift, for the task that is running.
func TestOutlookTakesTheRunningTask(t *testing.T) {
	day := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	shift := func(start time.Time, p dust.Position) exposure.ShiftResult {
		return exposure.ShiftResult{Date: start.Format(time.DateOnly), Start: start, End: start.Add(8 * time.Hour), Sensor: string(p), Position: p}
	}
	k := learned{exposure: exposure.Result{
		Shifts: []exposure.ShiftResult{shift(day.AddDate(0, 0, -1), dust.BreathingZone), shift(day, dust.BreathingZone), shift(day, dust.Room)},
		Masks:  []exposure.MaskResult{{Task: "planing", Material: "oak", Runs: 3}, {Task: "ripping", Material: "oak", Runs: 5}},
	}}
	tasks := []dust.Task{{Name: "planing", Material: "oak", Start: day, Stop: day.Add(time.Hour)}, {Name: "ripping", Material: "Oak", Start: day.Add(time.Hour)}}
	got := k.outlook(RespiratorQuestion{Now: day.Add(2 * time.Hour)}, tasks, nil)
	require.Len(t, got, 1)
	require.Equal(t, "2026-03-02", got[0].Date)
	require.Equal(t, "ripping", got[0].Task)
	require.Equal(t, 5, got[0].Runs)
	got = k.outlook(RespiratorQuestion{Now: day.Add(2 * time.Hour), Task: "planing"}, tasks, nil)
	require.Equal(t, "planing", got[0].Task)
	require.Empty(t, k.outlook(RespiratorQuestion{Now: day.AddDate(0, 0, 9)}, tasks, nil))
}
