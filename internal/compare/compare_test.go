package compare

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

// Session means of reference case welch1 and days of paired1 (testdata/statcases.json).
var (
	welchOld  = []float64{412, 655, 301, 518, 730}
	welchNew  = []float64{205, 160, 330, 241, 118}
	pairedOld = []float64{310, 520, 205, 640, 415}
	pairedNew = []float64{190, 260, 150, 300, 275}
)

func TestCompareBeforeAfterIsWelchOnSessions(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	res := s.compare()
	// R t.test and SciPy ttest_ind on the logs, case welch1.
	require.InEpsilon(t, 0.3982775623717419, *res.Ratio, 1e-6)
	require.InEpsilon(t, 0.23023838636877136, *res.CILow, 1e-6)
	require.InEpsilon(t, 0.6889599045169994, *res.CIHigh, 1e-6)
	require.InEpsilon(t, 0.004753749782207801, *res.PValue, 1e-6)
	// Full enumeration, case perm_welch1.
	require.InDelta(t, 0.015873015873015872, *res.PermutationP, 1e-9)
	require.Equal(t, ReducedEnough, res.Verdict)
	require.False(t, res.RestsOnLogNormal)
	require.Equal(t, [2]int{5, 5}, [2]int{res.NBefore, res.NAfter})
	require.Equal(t, "C", res.Design)
	require.False(t, res.Paired)
	require.Equal(t, *res.GMAfter / *res.GMBefore, *res.Ratio)
	require.InEpsilon(t, math.Pow(412*655*301*518*730, 0.2), *res.GMBefore, 1e-9)
	require.Empty(t, res.Excluded)
	require.Contains(t, res.Why.String(), "60 % lower")
	require.Contains(t, res.Why.String(), "31 to 77 % lower")
}

func TestComparePairsDays(t *testing.T) {
	s := newShop(t)
	s.pairedDays(pairedOld, pairedNew)
	res := s.compare()
	// R t.test(paired) and SciPy ttest_rel on the logs, case paired1.
	require.InEpsilon(t, 0.5869282824424567, *res.Ratio, 1e-6)
	require.InEpsilon(t, 0.464705947187366, *res.CILow, 1e-6)
	require.InEpsilon(t, 0.7412963204276755, *res.CIHigh, 1e-6)
	require.InEpsilon(t, 0.0031769485128143424, *res.PValue, 1e-6)
	// 2/2⁵: five days cannot reach 0.05 by sign changes.
	require.InDelta(t, 0.0625, *res.PermutationP, 1e-12)
	require.True(t, res.Paired)
	require.True(t, res.RestsOnLogNormal)
	require.Equal(t, ReducedUncertain, res.Verdict)
	require.Equal(t, "B", res.Design)
	require.Equal(t, *res.GMAfter / *res.GMBefore, *res.Ratio)
	require.Contains(t, res.Why.String(), "log-normal")
}

// Five invented days, 1.9 2.6 1.4 3.1 2.2 to 0.9 1.5 0.8 1.4 1.3 mg/m³, worked
// out beforehand with a paired t test on the logs: 0.530 (0.453–0.619), −47 %.
func TestComparePairedExampleInMilligrams(t *testing.T) {
	s := newShop(t)
	s.pairedDays([]float64{1900, 2600, 1400, 3100, 2200}, []float64{900, 1500, 800, 1400, 1300})
	res := s.compare()
	require.InDelta(t, 0.530, *res.Ratio, 0.0005)
	require.InDelta(t, 0.453, *res.CILow, 0.0005)
	require.InDelta(t, 0.619, *res.CIHigh, 0.0005)
	require.InDelta(t, -47, *res.ChangePercent, 0.5)
	require.Equal(t, ReducedEnough, res.Verdict)
}

// The runs of reference case session1: unequal task mixes, three sessions each.
func sessionOne(t *testing.T) *shop {
	s := newShop(t)
	mix := [][]struct {
		task string
		x    float64
	}{
		{{"sand", 512}, {"rip", 240}, {"sweep", 130}, {"sand", 610}},
		{{"sand", 655}, {"rip", 300}, {"sweep", 95}},
		{{"sand", 480}, {"sweep", 150}, {"rip", 210}},
		{{"sand", 280}, {"rip", 99}, {"sweep", 61}},
		{{"sand", 330}, {"rip", 170}, {"sweep", 66}},
		{{"sand", 240}, {"sweep", 52}, {"sand", 190}, {"rip", 120}, {"sand", 310}},
	}
	// In the case the second 610 belongs to s2.
	mix[1] = append(mix[1], mix[0][3])
	mix[0] = mix[0][:3]
	s.setup("old hood", monday)
	s.setup("new hood", monday.AddDate(0, 0, 3))
	for i, runs := range mix {
		for k, r := range runs {
			s.run(r.task, monday.AddDate(0, 0, i).Add(time.Duration(k)*10*time.Minute), runLength, flat(r.x))
		}
	}
	return s
}

func TestCompareAdjustsForTaskMix(t *testing.T) {
	res := sessionOne(t).compare()
	// R lm and t.test, NumPy lstsq, case session1.
	require.InEpsilon(t, 0.4995811657479064, *res.Ratio, 1e-6)
	require.InEpsilon(t, 0.34113276636462736, *res.CILow, 1e-6)
	require.InEpsilon(t, 0.7316252373812328, *res.CIHigh, 1e-6)
	require.InEpsilon(t, 0.013894195670397718, *res.PValue, 1e-6)
	require.Equal(t, *res.GMAfter / *res.GMBefore, *res.Ratio)
	// Levels read as concentrations at the mix of all runs: between the tasks'.
	require.Greater(t, *res.GMBefore, 130.0)
	require.Less(t, *res.GMBefore, 655.0)
	require.True(t, res.RestsOnLogNormal) // 3 v 3 reach 0.1 at best
}

func numbers(r Result) []float64 {
	return []float64{*r.Ratio, *r.CILow, *r.CIHigh, *r.PValue, *r.PermutationP}
}

func requireSame(t *testing.T, want, got []float64) {
	t.Helper()
	for i := range want {
		require.InEpsilon(t, want[i], got[i], 1e-9)
	}
}

func TestCompareDoesNotDependOnScale(t *testing.T) {
	for _, k := range []float64{2, 1.7, 1000} {
		s := sessionOne(t)
		want := s.compare()
		s.in.Series[0] = scaled(t, s.in.Series[0], k)
		got := s.compare()
		requireSame(t, numbers(want), numbers(got))
		require.InEpsilon(t, k**want.GMBefore, *got.GMBefore, 1e-9)
		require.Equal(t, want.Verdict, got.Verdict)
	}
}

func TestCompareSwappedInverts(t *testing.T) {
	paired := newShop(t)
	paired.pairedDays(pairedOld, pairedNew)
	for _, s := range []*shop{sessionOne(t), paired} {
		want := s.compare()
		s.in.Before, s.in.After = s.in.After, s.in.Before
		got := s.compare()
		requireSame(t, []float64{1 / *want.Ratio, 1 / *want.CIHigh, 1 / *want.CILow, *want.PValue, *want.PermutationP}, numbers(got))
		require.Equal(t, Increased, got.Verdict)
	}
}

func TestCompareDoesNotDependOnOrderOfInput(t *testing.T) {
	s := sessionOne(t)
	s.derive(dust.PM10, nil)
	want := s.compare()
	in := s.in
	n := len(in.Tasks)
	in.Tasks = nil
	for i := range n {
		in.Tasks = append(in.Tasks, s.in.Tasks[(i*5+3)%n]) // 21 tasks, 5 coprime
	}
	in.Setups = []dust.SetupPeriod{s.in.Setups[1], s.in.Setups[0]}
	in.Series = []*dust.Series{s.in.Series[1], s.in.Series[0]}
	got, err := Compare(in)
	require.NoError(t, err)
	require.Equal(t, want, got)
}

func TestCompareRecoversAConstantRatio(t *testing.T) {
	// Every day different, the change always to 0.4: the ratio is exact, the
	// days do not differ in it, and no interval can be honest about that.
	s := newShop(t)
	s.pairedDays([]float64{100, 250, 75, 400}, []float64{40, 100, 30, 160})
	res := s.compare()
	require.InEpsilon(t, 0.4, *res.Ratio, 1e-12)
	require.Nil(t, res.CILow)
	require.Equal(t, TooLittleData, res.Verdict)
	require.Contains(t, res.Why.String(), "do not differ")

	// As two blocks the same levels do differ between days, with the same ratio.
	s = newShop(t)
	s.blocks([]float64{100, 250, 75, 400}, []float64{40, 100, 30, 160})
	require.InEpsilon(t, 0.4, *s.compare().Ratio, 1e-12)
}

func TestCompareSubtractsTheBackground(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{412 + 50, 655 + 50, 301 + 50}, []float64{205 + 50, 160 + 50, 330 + 50})
	outside := dust.NewSeries(dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
	for at := monday; at.Before(monday.AddDate(0, 0, 6)); at = at.Add(4 * time.Second) {
		require.NoError(t, outside.Append(at, 50, 0))
	}
	s.in.Background = outside
	res := s.compare()
	want, err := WelchLogRatio([]float64{412, 655, 301}, []float64{205, 160, 330}, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Ratio, *res.Ratio, 1e-9)
	require.Equal(t, "yard", res.BackgroundSensor)
	require.Empty(t, res.Bins[0].Note)
}

func TestCompareBackgroundStandsInFromOtherRuns(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{150, 160, 170}, []float64{100, 110, 120})
	outside := dust.NewSeries(dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
	for i, day := range []int{0, 1, 3} { // 10, 20, 60: the others get the median, 20
		from := monday.AddDate(0, 0, day)
		for at := from; at.Before(from.Add(runLength)); at = at.Add(time.Second) {
			require.NoError(t, outside.Append(at, []float64{10, 20, 60}[i], 0))
		}
	}
	s.in.Background = outside
	res := s.compare()
	want, err := WelchLogRatio([]float64{140, 140, 150}, []float64{40, 90, 100}, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Ratio, *res.Ratio, 1e-9)
	requireWarning(t, res, "3 of 6 runs have no background of their own")
}

func requireWarning(t *testing.T, res Result, text string) {
	t.Helper()
	for _, w := range res.Warnings {
		if contains(w.String(), text) {
			return
		}
	}
	require.Failf(t, "no such warning", "%q not in %q", text, res.Warnings)
}

func TestCompareJSONHasNoNaN(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{100}, []float64{50})
	res := s.compare()
	raw, err := json.Marshal(res)
	require.NoError(t, err)
	require.Contains(t, string(raw), `"ci_low":null`)
	for _, key := range []string{`"sessions":[`, `"excluded":[`, `"warnings":[`, `"by_size":[`, `"coverage":[`} {
		require.Contains(t, string(raw), key)
	}
}
