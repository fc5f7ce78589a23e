package compare

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDrawnOrderHoldsEverySetupInEveryBlock(t *testing.T) {
	setups := []string{"A", "B", "C"}
	first := map[string]int{}
	blocks := DrawOrder(7, setups, 600)
	for _, b := range blocks {
		require.ElementsMatch(t, setups, b)
		first[b[0]]++
	}
	for _, n := range first { // each comes first in a third of 600, ± 4 standard deviations
		require.InDelta(t, 200, n, 4*11.6)
	}
	require.Equal(t, blocks[:5], DrawOrder(7, setups, 5), "more blocks continue fewer")
	require.NotEqual(t, blocks[:5], DrawOrder(8, setups, 5))
}

// asPlanned lays sessions on days in the order drawn by a seed.
func asPlanned(t *testing.T, seed uint64, blocks int) *shop {
	s := newShop(t)
	day := monday
	for i, block := range DrawOrder(seed, []string{s.in.Before, s.in.After}, blocks) {
		for _, name := range block {
			level := 100 + 7*float64(i)
			if name == s.in.After {
				level /= 2 + 0.1*float64(i)
			}
			s.setup(name, day)
			s.run("sanding", day, runLength, flat(level))
			day = day.AddDate(0, 0, 1)
		}
	}
	return s
}

func TestAnOrderDrawnBeforehandIsGradeA(t *testing.T) {
	s := asPlanned(t, 11, 5)
	require.Equal(t, "B", s.compare().Design, "readings cannot show that it was drawn")
	s.in.PlanSeed = 11
	require.Equal(t, "A", s.compare().Design)
	s.in.PlanSeed = 12
	res := s.compare()
	require.Equal(t, "B", res.Design)
	require.Contains(t, res.DesignWhy.String(), "did not come in the order of the plan")
}

// A third setup of the plan is passed over where it is not asked about.
func TestAPlanOfThreeIsCheckedForTwo(t *testing.T) {
	s := newShop(t)
	day := monday
	setups := []string{s.in.Before, s.in.After, "third"}
	for i, block := range DrawOrder(6, setups, 4) {
		for k, name := range block {
			s.setup(name, day)
			s.run("sanding", day, runLength, flat(100+float64(10*i+3*k)))
			day = day.AddDate(0, 0, 1)
		}
	}
	s.in.PlanSeed = 6
	require.NotEqual(t, "A", s.compare().Design)
	s.in.PlanSetups = setups
	require.Equal(t, "A", s.compare().Design)
}

// The detectable reduction and the number of sessions are inverse to each other,
// nearly: statistics of the t test, Cohen 1988, ch. 2.
func TestDetectableReductionInvertsSessionsNeeded(t *testing.T) {
	for _, paired := range []bool{false, true} {
		for _, n := range []int{4, 5, 8, 10, 17, 32} {
			r := DetectableReduction(n, PlanningSD, paired, 0.80, 0.95)
			back, err := SessionsNeeded(r, PlanningSD, paired, 0.80, 0.95)
			require.NoError(t, err)
			require.InDelta(t, float64(n), back, 0.35, "paired %v", paired)
		}
	}
}

func TestSpreadOfOneSetup(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, nil)
	got, err := SpreadOf(s.in)
	require.NoError(t, err)
	_, sd := meanSD(mustLogs(t, welchOld...))
	require.InEpsilon(t, sd, got.SD, 1e-9)
	require.Equal(t, 4, got.DF())
	s = newShop(t)
	s.blocks(welchOld[:2], nil)
	_, err = SpreadOf(s.in)
	require.ErrorIs(t, err, ErrTooFew)
	s.in.Before = "nobody"
	_, err = SpreadOf(s.in)
	require.ErrorContains(t, err, `unknown setup "nobody": the diary holds "old hood"`)
}
