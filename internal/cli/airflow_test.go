package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/units"
)

// What docs/airflow.md shows as a record is one.
func TestTheRecordInTheDocumentationLoads(t *testing.T) {
	text, err := os.ReadFile("../../docs/airflow.md")
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(text), "```toml\n")
	require.True(t, found)
	block, _, _ := strings.Cut(rest, "```")
	path := filepath.Join(t.TempDir(), "c.toml")
	require.NoError(t, os.WriteFile(path, []byte(block), 0o600))
	cfg, err := config.Load(config.Sources{Path: path})
	require.NoError(t, err)
	records, err := collectorRecords(cfg)
	require.NoError(t, err)
	require.Len(t, records, 2)
	for _, r := range records {
		require.Equal(t, units.Inches(6), r.Ducts[0].Diameter)
		require.Len(t, r.Blowers[0].Curve, 4)
		require.Equal(t, 0.8, r.Hood.EntryCoefficient)
	}
	require.Len(t, records[1].Filter.Cleaned, 1)
}

var senmlNow = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// Base values hold for the records behind them, a time below 2²⁸ counts from now
// (RFC 8428, 4.5.1 and 4.5.3), and the same line gives the same entry.
func TestSenMLBaseValuesAndTimes(t *testing.T) {
	const line = `[{"bn":"main/","bt":-60,"bu":"Pa","n":"velocity_pressure","v":200},{"n":"velocity_pressure","t":-30,"v":201.5},{"bn":"","n":"current","u":"A","v":7}]` + "\n"
	list, passed, err := senmlEntries(strings.NewReader("\n# gauges\r\n"+line), "x", senmlNow)
	require.NoError(t, err)
	require.Zero(t, passed)
	require.Len(t, list, 3)
	require.Equal(t, "main: 200 Pa", list[0].Text)
	require.Equal(t, senmlNow.Add(-time.Minute), list[0].At)
	require.Equal(t, senmlNow.Add(-90*time.Second), list[1].At)
	require.Equal(t, "7 A", list[2].Text)
	require.Equal(t, dust.GaugeEntry, list[2].Kind)
	again, _, err := senmlEntries(strings.NewReader(line), "x", senmlNow)
	require.NoError(t, err)
	require.Equal(t, list, again)
	require.NotEqual(t, list[0].ID, list[1].ID)
}

func TestSenMLThatCannotBeTaken(t *testing.T) {
	for line, want := range map[string]string{
		`{"n":"current"}`:                                 "x:1: no SenML pack",
		`[{"n":"current","u":"A"}]`:                       "current has no value",
		`[{"n":"current","v":5}]`:                         `current in unit "": send it in A`,
		`[{"n":"current","u":"A","v":-5}]`:                "below the lowest",
		`[{"n":"current","u":"A","v":5,"t":1e10}]`:        "lies in the future",
		`[{"n":"flow","u":"m3/h","v":5}]`:                 "send it in m3/s",
		`[{"n":"filter_drop","u":"Pa","v":-5}]`:           "told without a sign",
		`[` + strings.Repeat(" ", longestSenMLLine) + `]`: "too long",
	} {
		_, _, err := senmlEntries(strings.NewReader(line), "x", senmlNow)
		require.ErrorContains(t, err, want)
	}
}
