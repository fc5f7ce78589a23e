package config_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/config"
)

func TestRespiratorTable(t *testing.T) {
	c, err := config.Load(config.Sources{})
	require.NoError(t, err)
	require.Empty(t, c.Respirator.OnChange)
	require.Equal(t, config.Respirator{Timeout: 10 * time.Second, StaleAfter: 10 * time.Second, Settle: time.Minute}, c.Respirator)

	path := write(t, "[respirator]\non_change = [\"/usr/local/bin/lamp\", \"--pin\", \"17\"]\nrepeat_every = \"1m\"\nstale_after = \"5s\"\n")
	c, err = config.Load(config.Sources{Path: path, LookupEnv: environment(map[string]string{"DUSTLOG_RESPIRATOR_SETTLE": "2m"}), Flags: map[string]string{"respirator.repeat_every": "0s"}})
	require.NoError(t, err)
	require.Equal(t, []string{"/usr/local/bin/lamp", "--pin", "17"}, c.Respirator.OnChange)
	require.Equal(t, 5*time.Second, c.Respirator.StaleAfter)
	require.Equal(t, 2*time.Minute, c.Respirator.Settle)
	require.Zero(t, c.Respirator.RepeatEvery)
}

func TestRespiratorTableRefusesWhatWouldNotBeFailSafe(t *testing.T) {
	for text, want := range map[string]string{
		"on_change = []":              "names no program",
		"on_change = [\" \"]":         "names no program",
		"on_change = \"lamp\"":        "2:13",
		"stale_after = \"1h\"":        "give a time from 3s to 2m0s",
		"settle = \"1s\"":             "give a time from 10s to 1h0m0s",
		"timeout = \"soon\"":          "give a time from 1s to 1m0s",
		"repeat_every = \"1s\"":       "give a time from 10s to 1h0m0s",
		"on_chnage = [\"lamp\"]":      "unknown key",
		"timeout = \"10s\"\nx = \"\"": "unknown key",
	} {
		_, err := config.Load(config.Sources{Path: write(t, "[respirator]\n"+text+"\n")})
		require.ErrorIs(t, err, config.ErrFile, text)
		require.ErrorContains(t, err, want, text)
	}
}
