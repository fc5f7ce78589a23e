package cli

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func TestLevels(t *testing.T) {
	for text, want := range map[string]float64{"": 0, "50": 50, "50 ug/m3": 50, "0.05 mg/m³": 50} {
		got, err := parseLevel(text, dust.PM25)
		require.NoError(t, err, text)
		require.InDelta(t, want, got, 1e-9, text)
	}
	got, err := parseLevel("120", dust.N05)
	require.NoError(t, err)
	require.EqualValues(t, 120, got)
	for _, text := range []string{"abc", "-1", "0", "Inf", "50 ppm"} {
		_, err := parseLevel(text, dust.PM25)
		require.ErrorContains(t, err, "give a level of pm2_5", text)
	}
	_, err = parseLevel("50 ug/m3", dust.N05)
	require.Error(t, err, "a count is no mass")
}
