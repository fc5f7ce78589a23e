package exposure

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

func task(name string, from, to float64) dust.Task {
	return dust.Task{Name: name, Start: at(hours(from)), Stop: at(hours(to))}
}

// By hand: an hour at 200 µg/m³ is 12 mg·min/m³.
func TestTaskNumbers(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), 50, 0}, steady{hours(1), hours(2), 200, 0}, steady{hours(2), hours(8), 50, 0})
	r := mustAssess(t, Input{
		Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{s}, Limit: mustLimit(t, "eu-cmrd"), DeclaredShift: true,
		Tasks:  []dust.Task{{Name: "routing", Material: "ash", Start: at(hours(1)), Stop: at(hours(2))}},
		Setups: []dust.SetupPeriod{{Setup: "old hood", From: at(-hours(10)), To: at(hours(1.5))}, {Setup: "new hood", From: at(hours(1.5))}},
	})
	require.Len(t, r.Tasks, 1)
	got := r.Tasks[0]
	require.Equal(t, "routing", got.Task)
	require.Equal(t, "ash", got.Material)
	require.Equal(t, "old hood, new hood", got.Setup)
	require.Equal(t, "old hood, new hood", r.Shifts[0].Setup)
	require.InDelta(t, 60, got.Minutes, 1e-9)
	require.InDelta(t, 60, got.MinutesMeasured, 1e-9)
	require.InDelta(t, 0.2, *got.MeanMgM3, 1e-12)
	require.InDelta(t, 12, *got.DoseMgMinM3, 1e-9)
	require.Empty(t, got.Why)
	// Dose 200 in the task of 200 + 7·50 = 550: 4/11 and 7/11.
	require.Equal(t, "routing", r.Shifts[0].TaskDoseShares[0].Task)
	require.InDelta(t, 4.0/11, r.Shifts[0].TaskDoseShares[0].Share, 1e-9)
	require.Equal(t, "", r.Shifts[0].TaskDoseShares[1].Task)
	require.InDelta(t, 7.0/11, r.Shifts[0].TaskDoseShares[1].Share, 1e-9)
	require.InDelta(t, 420, r.Shifts[0].TaskDoseShares[1].Minutes, 1e-9)
}

func TestTaskWithoutReadingsSaysWhy(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(1), 50, 0}, steady{hours(2), hours(3), 50, dust.WarmUp}, steady{hours(4), hours(5), 50, 0})
	in := Input{Shifts: []dust.Shift{shiftOf(hours(8))}, Series: []*dust.Series{s}, Limit: mustLimit(t, "eu-cmrd"),
		Tasks: []dust.Task{task("glue-up", 2, 3), task("late", 6, 7), task("backwards", 3, 2), {Name: "open", Start: at(hours(4.5))}}}
	r := mustAssess(t, in)
	require.Len(t, r.Tasks, 2)
	require.Nil(t, r.Tasks[0].MeanMgM3)
	require.Nil(t, r.Tasks[0].DoseMgMinM3)
	require.Contains(t, r.Tasks[0].Why.String(), "warm_up 60")
	require.Equal(t, "open", r.Tasks[1].Task)
	require.Equal(t, at(hours(5)+4*time.Second), r.Tasks[1].Stop, "a running task ends with the last reading's hold")
	text := strings.Join(words.Strings(r.Warnings), "\n")
	for _, want := range []string{`"glue-up"`, `"late"`, `"backwards"`, "still running"} {
		require.Contains(t, text, want)
	}
}

// Two persons at once: the hour counts once and is split.
func TestOverlappingTasksShareTheTime(t *testing.T) {
	spans := []dust.Span{span(0, 180, 10)}
	shares := TaskDoseShares(spans, []dust.Task{task("a", 0, 2), task("b", 1, 3)}, start, at(hours(4)))
	require.Len(t, shares, 2)
	require.InDelta(t, 0.5, shares[0].Share, 1e-12)
	require.InDelta(t, 0.5, shares[1].Share, 1e-12)
	require.InDelta(t, 90, shares[0].Minutes, 1e-9)
	both := TaskDoseShares(spans, []dust.Task{task("a", 0, 3), task("a", 0, 3)}, start, at(hours(4)))
	require.Equal(t, []TaskDose{{Task: "a", Minutes: 180, Share: 1}}, both)
}

func TestDoseSharesEdges(t *testing.T) {
	require.Empty(t, TaskDoseShares(nil, []dust.Task{task("a", 0, 1)}, start, at(hours(1))))
	require.Empty(t, TaskDoseShares([]dust.Span{span(0, 60, 0)}, nil, start, at(hours(1))), "no dose has no shares")
	outside := TaskDoseShares([]dust.Span{span(0, 60, 1)}, []dust.Task{task("a", -2, -1), task("b", 2, 3)}, start, at(hours(1)))
	require.Equal(t, []TaskDose{{Task: "", Minutes: 60, Share: 1}}, outside)
	running := TaskDoseShares([]dust.Span{span(0, 60, 1)}, []dust.Task{{Name: "a", Start: start}}, start, at(hours(1)))
	require.Equal(t, []TaskDose{{Task: "a", Minutes: 60, Share: 1}}, running)
}

// Law: shares add up to 1 and minutes to the measured time.
func TestDoseSharesAddUp(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 20))
	for range 100 {
		spans := randomSpans(r, 300, 1000)
		var tasks []dust.Task
		for range r.IntN(12) {
			from := r.Float64() * 2
			tasks = append(tasks, task(string(rune('a'+r.IntN(4))), from, from+0.01+r.Float64()))
		}
		to := at(hours(1.5))
		_, ms := integrate(clip(spans, start.UnixMilli(), to.UnixMilli()))
		shares, minutes := 0.0, 0.0
		for _, d := range TaskDoseShares(spans, tasks, start, to) {
			shares += d.Share
			minutes += d.Minutes
		}
		require.InDelta(t, 1, shares, 1e-9)
		require.InDelta(t, float64(ms)/msPerMinute, minutes, 1e-6)
	}
}
