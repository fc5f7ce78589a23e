package plots

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/dust"
)

// Property: whatever the tasks, no two labels touch, none leaves the plot, none
// above the bands covers a band, and every task has a label or is counted as
// dropped.
func TestTaskLabelsNeverTouch(t *testing.T) {
	for seed := range uint64(400) {
		rnd := rand.New(rand.NewPCG(seed, 9))
		var tasks []dust.Task
		start := day
		for i := range rnd.IntN(40) {
			start = start.Add(time.Duration(rnd.IntN(2000)) * time.Second)
			stop := start.Add(time.Duration(1+rnd.IntN(4000)) * time.Second)
			tasks = append(tasks, dust.Task{Name: fmt.Sprint("task ", rnd.IntN(12)), Person: fmt.Sprint(i), Start: start, Stop: stop})
		}
		width := vg.Length(150 + 400*rnd.Float64())
		l := layoutTasks(tasks, day, day.Add(8*time.Hour), 30, 30+width)
		require.Equal(t, len(l.bands), len(l.labels)+l.dropped, "seed %d", seed)
		for i, a := range l.labels {
			require.GreaterOrEqual(t, a.box.Min.X, vg.Length(30-0.01))
			require.LessOrEqual(t, a.box.Max.X, 30+width+0.01)
			require.GreaterOrEqual(t, a.box.Min.Y, vg.Length(-0.01))
			require.LessOrEqual(t, a.box.Max.Y, l.height()+0.01)
			for _, b := range l.labels[:i] {
				require.False(t, overlaps(a.box, b.box), "seed %d: %q %v and %q %v", seed, a.text, a.box, b.text, b.box)
			}
			for k := range l.bands {
				if !a.inside {
					require.False(t, overlaps(a.box, l.bandBox(k)), "seed %d", seed)
				}
			}
		}
		for i := range l.bands {
			for k := range i {
				a, b := l.bandBox(i), l.bandBox(k)
				a.Min.X, b.Min.X = a.Min.X+leastBand, b.Min.X+leastBand // very short bands are drawn that wide
				require.False(t, overlaps(a, b), "seed %d: bands %d and %d", seed, i, k)
			}
		}
	}
}

func TestTaskLayoutChoosesTheMostTellingLabels(t *testing.T) {
	hour := func(h float64) time.Time { return day.Add(time.Duration(h * float64(time.Hour))) }
	tasks := []dust.Task{{Name: "sanding", Material: "oak", Start: hour(0), Stop: hour(3)}, {Name: "sawing", Material: "oak", Start: hour(4), Stop: hour(4.1)}}
	wide := layoutTasks(tasks, day, hour(8), 0, 400)
	require.False(t, wide.numbered)
	require.Equal(t, "sanding, oak", wide.labels[0].text)
	require.True(t, wide.labels[0].inside)
	require.False(t, wide.labels[1].inside)
	require.Equal(t, 1, wide.rows)

	narrow := layoutTasks(tasks, day, hour(8), 0, 50)
	require.Equal(t, "sanding", narrow.labels[0].text) // still tells the two apart

	tasks[1].Name = "sanding"
	tasks[1].Material = "birch plywood with a coat of old paint"
	numbered := layoutTasks(tasks, day, hour(8), 0, 60)
	require.True(t, numbered.numbered)
	require.Equal(t, []string{"sanding, oak", "sanding, birch plywood with a coat of old paint"}, numbered.names)
}

// A running task is open to the right; tasks outside the time shown are absent.
func TestTaskBandsAreCutToTheTimeShown(t *testing.T) {
	hour := func(h int) time.Time { return day.Add(time.Duration(h) * time.Hour) }
	l := layoutTasks([]dust.Task{
		{Name: "before", Start: hour(-3), Stop: hour(-1)}, {Name: "into", Start: hour(-1), Stop: hour(1)},
		{Name: "running", Start: hour(6)}, {Name: "after", Start: hour(9), Stop: hour(10)},
	}, day, hour(8), 0, 400)
	require.Len(t, l.bands, 2)
	require.Equal(t, [2]vg.Length{0, 50}, [2]vg.Length{l.bands[0].x0, l.bands[0].x1})
	require.Equal(t, [2]vg.Length{300, 400}, [2]vg.Length{l.bands[1].x0, l.bands[1].x1})
	require.False(t, l.bands[0].open)
	require.True(t, l.bands[1].open)
}

func TestTasksOfTwoPersonsTakeTwoLanes(t *testing.T) {
	hour := func(h int) time.Time { return day.Add(time.Duration(h) * time.Hour) }
	l := layoutTasks([]dust.Task{
		{Name: "a", Person: "one", Start: hour(0), Stop: hour(3)}, {Name: "b", Person: "two", Start: hour(1), Stop: hour(2)},
		{Name: "c", Person: "two", Start: hour(2), Stop: hour(4)},
	}, day, hour(8), 0, 400)
	require.Equal(t, 2, l.lanes)
	require.Equal(t, []int{0, 1, 1}, []int{l.bands[0].lane, l.bands[1].lane, l.bands[2].lane})
}
