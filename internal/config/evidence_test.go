package config

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestEvidence(t *testing.T) {
	load := func(text string) Config {
		path := filepath.Join(t.TempDir(), "dustlog.toml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		c, err := Load(Sources{Path: path})
		require.NoError(t, err)
		return c
	}
	c := load(`store = "/somewhere/private.db"
[shop]
zone = "UTC"
name = "North shop"
[mqtt]
user = "north"
[[sensor]]
name = "bench"
model = "sps30"
port = "/dev/ttyUSB0"
position = "breathing_zone"
humidity_kappa = 0.3
[[limit]]
id = "own"
value = "0.1 mg/m3"
fraction = "respirable"
averaging = "8 h"
source = "ours"
[materials]
blend = "softwood"
[collector."drop box"]
room = "4237.76 ft3"
[[collector."drop box".duct]]
name = "main"
diameter = "6 in"
`)
	text, err := c.Evidence()
	require.NoError(t, err)
	for _, private := range []string{"ttyUSB0", "mqtt", "private", "North"} {
		require.NotContains(t, string(text), private)
	}

	again := load(string(text))
	require.Equal(t, c.Limits, again.Limits)
	require.Equal(t, c.Materials, again.Materials)
	require.Equal(t, c.Collectors, again.Collectors, "to the last bit")
	want := c.Sensors[0]
	want.Port = NoPort
	require.Equal(t, []Sensor{want}, again.Sensors)

	none, err := Config{}.Evidence()
	require.NoError(t, err)
	require.Empty(t, none)
}
