package compare

import (
	"testing"
	"time"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

// undiaried is a study without tasks: each day holds readings for so long, at
// the work level for so much of it and at the idle level for the rest.
func undiaried(t *testing.T, work [2]time.Duration, level [2]float64) *shop {
	s := newShop(t)
	s.step = 4 * time.Second
	s.derive(dust.PM10, func(x float64) float64 { return 2*x + x*x/1000 })
	day := monday
	for i, name := range []string{s.in.Before, s.in.After} {
		s.setup(name, day)
		for d := range 4 {
			spread := 1 + 0.05*float64(d)
			s.readings(day, day.Add(8*time.Hour), func(k int) float64 {
				if time.Duration(k)*s.step < work[i] {
					return level[i] * spread
				}
				return 10
			})
			day = day.AddDate(0, 0, 1)
		}
	}
	return s
}

// The machine makes as much dust as ever; it only runs for one hour a day in
// place of four. Without a diary nobody can know that, so nothing is claimed.
func TestAShorterDayIsNoReduction(t *testing.T) {
	s := undiaried(t, [2]time.Duration{4 * time.Hour, time.Hour}, [2]float64{200, 200})
	res := s.compare()
	require.Equal(t, TooLittleData, res.Verdict)
	require.Contains(t, res.Why.String(), "There is no diary, so working time and dust cannot be told apart: note tasks with `dustlog task`.")
	require.Contains(t, res.Why.String(), "take that as a hint, not a result")
	require.Less(t, *res.Ratio, 0.5) // the indication, for what it is worth
	require.Nil(t, res.CILow)
	require.Nil(t, res.CIHigh)
	require.Nil(t, res.PValue)
	require.Nil(t, res.PermutationP)
	require.Nil(t, res.SessionsNeeded) // more of the same would not help
	require.Nil(t, res.TrendPercentPerDay)
	require.False(t, res.RestsOnLogNormal)
	require.Equal(t, "D", res.Design)
	require.Contains(t, res.DesignWhy.String(), "no diary")
	require.Contains(t, res.Caution.String(), "shorter working day")
	require.NotContains(t, res.Method.String(), "Welch")
	require.Equal(t, [2]int{4, 4}, [2]int{res.NBefore, res.NAfter})
	for _, row := range res.Bins {
		require.Nil(t, row.CIHigh)
		require.Nil(t, row.PAdjusted)
		require.Contains(t, row.Note.String(), "no diary")
	}
	require.Contains(t, res.Fine.Answer.String(), "cannot tell: there is no diary")
	require.Nil(t, res.Fine.CILow)
}

// The same holds for an increase, and for a real reduction: it may be one.
func TestNoDiaryNoVerdict(t *testing.T) {
	for _, level := range [][2]float64{{200, 20}, {20, 200}, {200, 200}} {
		s := undiaried(t, [2]time.Duration{4 * time.Hour, 4 * time.Hour}, level)
		require.Equal(t, TooLittleData, s.compare().Verdict)
	}
}

// A diary of other times is none for these setups.
func TestADiaryOfOtherTimes(t *testing.T) {
	s := undiaried(t, [2]time.Duration{4 * time.Hour, time.Hour}, [2]float64{200, 200})
	early := monday.AddDate(0, -1, 0)
	s.in.Tasks = []dust.Task{{Name: "sanding", Start: early, Stop: early.Add(time.Hour)}}
	res := s.compare()
	require.Equal(t, TooLittleData, res.Verdict)
	require.Contains(t, res.Why.String(), "No task of the diary lies under these setups, so working time and dust cannot be told apart: note tasks with `dustlog task`.")
}

// With a diary the same readings tell the truth: work is as dusty as before.
func TestADiaryTellsAShorterDayFromLessDust(t *testing.T) {
	work := [2]time.Duration{4 * time.Hour, time.Hour}
	s := undiaried(t, work, [2]float64{200, 200})
	for d := range 8 {
		day := monday.AddDate(0, 0, d)
		s.in.Tasks = append(s.in.Tasks, dust.Task{Name: "sanding", Start: day, Stop: day.Add(work[d/4])})
	}
	res := s.compare()
	require.InEpsilon(t, 1, *res.Ratio, 1e-3)
	require.Equal(t, NoneThatMatters, res.Verdict)
	require.NotNil(t, res.CILow)
}
