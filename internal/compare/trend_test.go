package compare

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// declining is a study of 5 v 5 days on one line of so many percent a day, with
// the change itself to the given ratio and a little noise. Levels invented.
func declining(percent, ratio float64) (old, new []float64) {
	noise := []float64{1.02, 0.98, 1.01, 0.99, 1.005}
	for i := range 10 {
		x := 1000 * math.Pow(1+percent/100, float64(i)) * noise[i%5]
		if i < 5 {
			old = append(old, x)
		} else {
			new = append(new, x*ratio)
		}
	}
	return old, new
}

// Levels fall by 15 % a day all along and the change does nothing: Welch's
// interval says "reduced enough", the sessions within the setups say why.
func TestADeclineIsNotTakenForTheChange(t *testing.T) {
	old, new := declining(-15, 1)
	r, err := WelchLogRatio(old, new, 0.95)
	require.NoError(t, err)
	require.Equal(t, ReducedEnough, VerdictFor(r.Low, r.High, 0.3))
	s := newShop(t)
	s.blocks(old, new)
	res := s.compare()
	require.Equal(t, ReducedUncertain, res.Verdict)
	require.Equal(t, "C", res.Design)
	require.Less(t, *res.TrendHigh, 0.0)
	require.InEpsilon(t, r.High, *res.CIHigh, 1e-9) // the numbers stay as they are
	require.Contains(t, res.Why.String(), "The interval alone would say “reduced enough”")
	// The noise leans a little, so the slope within is 15.2 % a day.
	const trend = "Levels were already falling within each setup by 15.2 % a day; over the 5 days between the middles of the two blocks that alone could explain the whole difference."
	require.Contains(t, res.Why.String(), trend)
	require.Equal(t, "One block before, one after: season, wood or sensor drift may be part of the difference. "+trend, res.Caution.String())
	requireWarning(t, res, "change by −15.2 % a day (interval −1")
}

// The change brings 25 or 35 % beyond the decline; 30 % is set to matter.
func TestOnlyTheReductionBeyondTheTrendCounts(t *testing.T) {
	for ratio, want := range map[float64]Verdict{0.75: ReducedUncertain, 0.65: ReducedEnough} {
		old, new := declining(-15, ratio)
		s := newShop(t)
		s.blocks(old, new)
		res := s.compare()
		require.Equal(t, want, res.Verdict)
		// 1 − 0.848^5 = 56 %, whatever the change did.
		require.Contains(t, res.Why.String(), "that alone could explain a level 56 % lower.")
		require.Contains(t, res.Caution.String(), "a level 56 % lower")
	}
}

// The setup called after may have been used first; then a rise makes it look good.
func TestARiseIsNotTakenForTheChangeBackwards(t *testing.T) {
	first, second := declining(18, 1)
	s := newShop(t)
	s.blocks(first, second)
	require.Equal(t, Increased, s.compare().Verdict)
	s.in.Before, s.in.After = s.in.After, s.in.Before
	res := s.compare()
	require.Equal(t, ReducedUncertain, res.Verdict)
	require.Contains(t, res.Why.String(), "already rising within each setup")
}

// A trend against the claim, or one that is not shown, takes nothing away.
func TestATrendThatDoesNotBearOnTheClaim(t *testing.T) {
	old, new := declining(5, 0.3) // rising all along, and yet lower afterwards
	s := newShop(t)
	s.blocks(old, new)
	res := s.compare()
	require.Greater(t, *res.TrendLow, 0.0)
	require.Equal(t, ReducedEnough, res.Verdict)
	require.Equal(t, "One block before, one after: season, wood or sensor drift may be part of the difference.", res.Caution.String())
	require.NotContains(t, res.Why.String(), "already")

	s = newShop(t)
	s.blocks(welchOld, welchNew)
	res = s.compare()
	require.Less(t, *res.TrendLow, 0.0)
	require.Greater(t, *res.TrendHigh, 0.0)
	require.Equal(t, ReducedEnough, res.Verdict)
	require.NotContains(t, res.Why.String(), "already")
}

// Two sessions of a setup give a line, but no idea how far it is off.
func TestNoSlopeFromTwoSessions(t *testing.T) {
	for _, n := range [][2]int{{2, 2}, {2, 5}, {5, 2}} {
		s := newShop(t)
		s.blocks(welchOld[:n[0]], welchNew[:n[1]])
		res := s.compare()
		require.Equal(t, "C", res.Design)
		require.Nil(t, res.TrendPercentPerDay)
		require.Nil(t, res.TrendLow)
		require.Nil(t, res.TrendHigh)
		requireWarning(t, res, "drift and season are in the ratio")
		require.NotEmpty(t, res.Caution)
	}
}

func TestCautionByDesign(t *testing.T) {
	s := newShop(t)
	s.pairedDays(pairedOld, pairedNew)
	res := s.compare()
	require.Equal(t, "B", res.Design)
	require.Empty(t, res.Caution)

	s = newShop(t)
	s.blocks(welchOld[:1], welchNew[:1])
	res = s.compare()
	require.Equal(t, "D", res.Design)
	require.Contains(t, res.Caution.String(), "single session")

	s = newShop(t) // nothing to compare, so nothing to be cautious about
	s.blocks(welchOld, nil)
	s.setup("new hood", monday.AddDate(0, 0, 5))
	require.Empty(t, s.compare().Caution)
}
