package compare

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/units"
)

// Sessions of one setup come out at the levels that they were made with.
func TestSessionLevelsOfOneSetup(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	both, err := SessionLevels(s.in)
	require.NoError(t, err)
	require.Len(t, both, len(welchOld)+len(welchNew))
	in := s.in
	in.After = "flarp"
	_, err = SessionLevels(in)
	require.ErrorIs(t, err, dust.ErrUnknownSetup)
	in.After = ""
	list, err := SessionLevels(in)
	require.NoError(t, err)
	require.Equal(t, both[:len(welchOld)], list, "of the same tasks, whoever is beside")
	require.Len(t, list, len(welchOld))
	for i, x := range list {
		require.InEpsilon(t, welchOld[i], x.Level, 1e-6)
		require.Equal(t, in.Before, x.Setup)
		require.True(t, i == 0 || x.Start.After(list[i-1].Start))
	}
	in.Before = "flarp"
	_, err = SessionLevels(in)
	require.ErrorIs(t, err, dust.ErrUnknownSetup)
	in = s.in
	in.Tasks = nil
	_, err = SessionLevels(in)
	require.ErrorIs(t, err, ErrTooFew)
}

// What was read off the collector stands beside the ratio and changes nothing of it.
func TestCollectorStandsBesideTheRatio(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	plain := s.compare()
	require.Nil(t, plain.Conditions[0].Collector)
	q, p := units.CFM(700), units.InWG(-4)
	s.in.Collector = map[string]CollectorState{"new hood": {Flow: &q, Static: &p}}
	beside := s.compare()
	require.Nil(t, beside.Conditions[0].Collector)
	require.Equal(t, &q, beside.Conditions[1].Collector.Flow)
	beside.Conditions[1].Collector = nil
	require.Equal(t, plain, beside)
}
