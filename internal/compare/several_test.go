package compare

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// three is a study of three setups in blocks of days, one task.
func three(t *testing.T, a, b, c []float64) *shop {
	s := newShop(t)
	day := monday
	for i, levels := range [][]float64{a, b, c} {
		s.setup([]string{"A", "B", "C"}[i], day)
		for _, x := range levels {
			s.run("sanding", day, runLength, flat(x))
			day = day.AddDate(0, 0, 1)
		}
	}
	return s
}

func TestSeveralAreEachHeldAgainstTheFirst(t *testing.T) {
	s := three(t, welchOld, welchNew, []float64{380, 500, 290, 450, 610})
	res, err := CompareSeveral(s.in, []string{"A", "B", "C"})
	require.NoError(t, err)
	require.Len(t, res.Setups, 2)
	require.Equal(t, "B", res.After)
	for i, after := range []string{"B", "C"} {
		s.in.Before, s.in.After = "A", after
		alone := s.compare()
		require.Equal(t, *alone.Ratio, *res.Setups[i].Ratio)
		require.Equal(t, *alone.CILow, *res.Setups[i].CILow)
	}
	// Holm 1979: the smaller p times two, the larger one itself.
	b, c := res.Setups[0], res.Setups[1]
	require.InEpsilon(t, 2**b.PValue, *b.PHolm, 1e-12)
	require.InEpsilon(t, *c.PValue, *c.PHolm, 1e-12)
	require.InDelta(t, 0.975, b.StepConfidence, 1e-12)
	require.InDelta(t, 0.95, c.StepConfidence, 1e-12)
	require.Less(t, *b.StepLow, *b.CILow)
	require.Equal(t, ReducedUncertain, b.Verdict, "its 97.5 % interval passes 0.7")
	require.Contains(t, b.Why.String(), "Asked alone the verdict would be “reduced enough”")
	require.Equal(t, NoReductionShown, c.Verdict)
	require.Equal(t, []string{"B", "C"}, []string{res.SetupsByRatio()[0].After, res.SetupsByRatio()[1].After})
	_, err = json.Marshal(res)
	require.NoError(t, err)
}

// p of B alone is 0.04: too much for the first of two. C with its larger p may then
// claim nothing either.
func TestHolmTakesBackWhatManyQuestionsWouldClaim(t *testing.T) {
	a := []float64{100, 140, 118, 90, 160}
	b := []float64{72, 106, 93, 75, 84}
	s := three(t, a, b, b)
	s.in.Before, s.in.After = "A", "B"
	alone := s.compare()
	require.True(t, alone.Verdict.claimsChange(), "%v %v", alone.Verdict, *alone.PValue)
	require.Greater(t, *alone.PValue, 0.025)
	res, err := CompareSeveral(s.in, []string{"A", "B", "C"})
	require.NoError(t, err)
	for _, x := range res.Setups {
		require.Equal(t, NoReductionShown, x.Verdict)
		require.Contains(t, x.Why.String(), "Asked alone the verdict would be")
		require.InEpsilon(t, 2**alone.PValue, *x.PHolm, 1e-9)
	}
	require.Contains(t, res.Setups[1].Why.String(), "with its smaller p")
}

func TestTwoAreNoSeveral(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	res, err := CompareSeveral(s.in, []string{"old hood", "new hood"})
	require.NoError(t, err)
	require.Equal(t, s.compare(), res)

	_, err = CompareSeveral(s.in, []string{"old hood"})
	require.ErrorContains(t, err, "need two or more")
	_, err = CompareSeveral(s.in, []string{"old hood", "new hood", "old hood"})
	require.ErrorContains(t, err, "named twice")
	_, err = CompareSeveral(s.in, []string{"old hood", "no such"})
	require.ErrorContains(t, err, "no such")
}
