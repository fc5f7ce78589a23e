package compare

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/compare/alternatives"
)

func (r Result) beside(t *testing.T, key string) Alternative {
	t.Helper()
	for _, a := range r.Alternatives {
		if a.Key == key {
			return a
		}
	}
	require.Failf(t, "no such alternative", "%s in %v", key, r.Alternatives)
	return Alternative{}
}

func TestAlternativesStandBesideAndNeverDecide(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	res := s.compare()
	hl, err := alternatives.HodgesLehmannTwo(mustLogs(t, welchOld...), mustLogs(t, welchNew...), 0.95)
	require.NoError(t, err)
	shown := res.beside(t, "hodges_lehmann")
	require.InEpsilon(t, math.Exp(hl.Estimate), *shown.Ratio, 1e-9)
	require.InEpsilon(t, math.Exp(hl.Low), *shown.CILow, 1e-9)
	// Full enumeration of the bootstrap, reference case bca_ratio5.
	b := res.beside(t, "bca_ratio")
	require.InEpsilon(t, 0.4029051987767584, *b.Ratio, 1e-9)
	require.InDelta(t, 0.271, *b.CILow, 0.015)
	require.InDelta(t, 0.612, *b.CIHigh, 0.02)
	require.Contains(t, b.Warning.String(), "126 different resamples")
	require.Contains(t, res.beside(t, "runs_as_units").Warning.String(), "claims a change in 14 to 20 %")
	require.Contains(t, res.beside(t, "perm_blocks").Warning.String(), "not switched run by run")
	require.Equal(t, ReducedEnough, res.Verdict)
}

// Reference case taskadj1: the runs of case session1 taken for independent give a
// narrower interval than its sessions do.
func TestRunsAsUnitsAreNarrower(t *testing.T) {
	res := sessionOne(t).compare()
	r := res.beside(t, "runs_as_units")
	require.InEpsilon(t, 0.48686801472986874, *r.Ratio, 1e-6)
	require.InEpsilon(t, 0.40821668845233133, *r.CILow, 1e-6)
	require.Less(t, *r.CIHigh / *r.CILow, *res.CIHigh / *res.CILow)
	require.Contains(t, r.Warning.String(), "variance in common")
}

// Within days the labels are exchanged inside each day, as the sign changes of
// days are with one run of each.
func TestBlocksOfDaysAreSignChanges(t *testing.T) {
	s := newShop(t)
	s.pairedDays(pairedOld, pairedNew)
	res := s.compare()
	b := res.beside(t, "perm_blocks")
	require.InDelta(t, *res.PermutationP, *b.PValue, 1e-12)
	require.InEpsilon(t, *res.Ratio, *b.Ratio, 1e-9)
	require.Empty(t, b.Warning, "the setup was switched run by run")
}

// One hour of each setup, nothing changed but the hour: minutes claim a change
// where there is none to be told. The verdict stays too little data.
func TestSingleRecordsAreAWarningExample(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	s := newShop(t)
	s.step = 5 * time.Second
	for i, level := range []float64{5, 4.7} {
		day := monday.AddDate(0, 0, i)
		s.setup([]string{"old hood", "new hood"}[i], day)
		noise := ar1(rng, 0.99, 0.4)
		s.run("sanding", day, time.Hour, func(int) float64 { return math.Exp(level + noise()) })
	}
	res := s.compare()
	require.Equal(t, TooLittleData, res.Verdict)
	block, serial, minutes := res.beside(t, "stationary_bootstrap"), res.beside(t, "newey_west"), res.beside(t, "minutes_as_units")
	require.Less(t, *minutes.CIHigh / *minutes.CILow, *block.CIHigh / *block.CILow)
	require.Less(t, *minutes.CIHigh / *minutes.CILow, *serial.CIHigh / *serial.CILow)
	for _, a := range []Alternative{block, serial, minutes} {
		require.Contains(t, a.Warning.String(), "Never a verdict")
	}
}

// A drift widens by the formula of reference case drift1 and is told.
func TestDriftWidensTheInterval(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	plain := s.compare()
	s.in.DriftU, s.in.DriftDF = math.Log(1.08), 3
	res := s.compare()
	want, err := WidenForDrift(*plain.Ratio, *plain.Uncertainty.Sessions, *plain.Uncertainty.DF, math.Log(1.08), 3, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, want.Low, *res.CILow, 1e-9)
	require.InEpsilon(t, want.High, *res.CIHigh, 1e-9)
	require.InEpsilon(t, want.SE, *res.Uncertainty.Total, 1e-9)
	require.Contains(t, res.Method.String(), "a drift of 8 % widens the interval")
	requireWarning(t, res, "5 % less each day")
	s.in.DriftU = math.Log(1.2)
	requireWarning(t, s.compare(), "may have drifted by 20 %")
	s.in.DriftU = -1
	_, err = Compare(s.in)
	require.ErrorContains(t, err, "drift")
}
