package config_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/config"
	"dustlog/internal/units"
)

const collectorFile = `
[collector."drop box"]
separator = "drop box"
open_gates = ["saw"]
room = "120 m3"
altitude = "300 m"
temperature = "18 °C"
[[collector."drop box".blower]]
rated_flow = "1,500 cfm"
rated_current = "9 A"
curve = ["0 cfm at 10 in. w.g.", "800 cfm at 7.5 in. w.g.", "1500 cfm at 0 Pa"]
[collector."drop box".filter]
area = "4 m2"
class = "M"
pressure_limit = "900 Pa"
cleaned = ["2026-03-09", "2026-03-12 16:30"]
[[collector."drop box".duct]]
name = "main"
diameter = "6 in"
length = "4 m"
fittings = ["2 bends 90°"]
[collector."drop box".hood]
width = "200 mm"
height = "6 in"
distance = "8 in"

[collector."cyclone separator"]
like = "drop box"
separator = "cyclone"
`

func TestCollectorTables(t *testing.T) {
	c, err := config.Load(config.Sources{Path: write(t, collectorFile)})
	require.NoError(t, err)
	require.Len(t, c.Collectors, 2)
	second, first := c.Collectors[0], c.Collectors[1] // by name
	require.Equal(t, "drop box", first.Setup)
	require.InDelta(t, 0.1524, float64(first.Ducts[0].Diameter), 1e-12)
	require.InDelta(t, 1500, first.Blowers[0].RatedFlow.CFM(), 1e-9)
	require.Equal(t, units.Current(9), first.Blowers[0].RatedCurrent)
	require.InDelta(t, 7.5, first.Blowers[0].Curve[1].Static.InWG(), 1e-9)
	require.InDelta(t, 18, float64(*first.Temperature), 1e-9)
	at, err := first.Filter.CleanedAt(time.UTC)
	require.NoError(t, err)
	require.Equal(t, []time.Time{time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC), time.Date(2026, 3, 12, 16, 30, 0, 0, time.UTC)}, at)

	require.Equal(t, "cyclone", second.Separator)
	require.Equal(t, first.Ducts, second.Ducts)
	require.Equal(t, first.Blowers, second.Blowers)
	require.Equal(t, first.Filter.Area, second.Filter.Area)
	require.Empty(t, second.Filter.Cleaned, "a cleaning belongs to its setup")
	require.NotEmpty(t, first.Filter.Cleaned)
}

func TestCollectorTablesSayWhatIsWrongAndWhere(t *testing.T) {
	for text, want := range map[string]string{
		"room = \"120\"":                               ":2:8: volume \"120\" has no unit",
		"room = \"120 m2\"":                            "unit \"m2\" is not known here",
		"rooom = \"120 m3\"":                           ":2:1: unknown key",
		"like = \"b\"":                                 `there is no [collector."b"]`,
		"like = \"a\"":                                 "leads back to itself",
		"[[collector.a.blower]]\ncurve = [\"5\"]":      ":3:10: point of a fan curve \"5\": write it as in",
		"[[collector.a.duct]]\ndiameter = \"0 in\"":    "must be above zero",
		"[collector.a.filter]\ncleaned = [\"monday\"]": `[collector."a"]: filter: cleaned "monday" is no day`,
		"[collector.a.filter]\nhours = -1":             "must not be below zero",
	} {
		_, err := config.Load(config.Sources{Path: write(t, "[collector.a]\n"+text+"\n")})
		require.ErrorIs(t, err, config.ErrFile, text)
		require.ErrorContains(t, err, want, text)
	}
}
