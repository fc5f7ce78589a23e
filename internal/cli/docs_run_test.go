package cli_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/cli"
)

// notRun are documented calls that need what a test of the pages has not got. Each
// names the test that runs it.
var notRun = map[string]string{
	"demo":    "cmd/dustlog/testdata/script/demo.txtar",
	"collect": "cmd/dustlog/testdata/script/collect.txtar",
	"init":    "cmd/dustlog/testdata/script/init.txtar",
	"ports":   "cmd/dustlog/testdata/script/ports.txtar",
	"forward": "cmd/dustlog/influx_test.go",
}

// workdays of March 2026; the last of them is today.
var workdays = []int{2, 3, 4, 5, 6, 9}

var evening = time.Date(2026, 3, 9, 18, 0, 0, 0, time.UTC)

// documentedShop is a shop in which what README and docs ask has an answer: five
// sensors, a week, filtered air before work, two and more setups.
func documentedShop(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "shop.toml"), []byte(`[shop]
zone = "UTC"
shift = "08:00-16:00"
limit = "us-acgih-other"
[materials]
oak = "hardwood"
`+tomlIn(t, "../../docs/airflow.md")), 0o600))
	positions := map[string]string{"bench": "breathing_zone", "room": "room", "inlet": "upstream", "outlet": "downstream"}
	share := map[string]float64{"bench": 1, "room": 0.5, "inlet": 8, "outlet": 0.2}
	for sensor, position := range positions {
		var csv bytes.Buffer
		csv.WriteString("time,sensor,pm1_ug_m3,pm2_5_ug_m3,pm10_ug_m3\n")
		for day, date := range workdays {
			level := 1 - 0.5*float64(day%2)
			begin := time.Date(2026, 3, date, 7, 0, 0, 0, time.UTC)
			x := 0.0
			for i := range 8 * 360 { // eight hours, every 10 s
				at := begin.Add(time.Duration(i) * 10 * time.Second)
				switch minute := i / 6; {
				case minute < 50: // filtered air
					x = 0
				case minute%60 >= 10 && minute%60 < 40: // at work
					x += (400*level - x) * 0.05
				default:
					x *= 0.98
				}
				v := 0.2 + 0.1*math.Sin(float64(i)) + share[sensor]*x*(1+0.05*math.Sin(float64(i)/7+float64(day)))
				fmt.Fprintf(&csv, "%s,%s,%.2f,%.2f,%.2f\n", at.Format(time.RFC3339), sensor, math.Max(0, 0.5*v), math.Max(0, v), math.Max(0, 2.5*v))
			}
		}
		file := filepath.Join(dir, sensor+".csv")
		require.NoError(t, os.WriteFile(file, csv.Bytes(), 0o600))
		mustRun(t, dir, "import", file, "--position", position, "--model", "sps30")
	}
	names := [][2]string{{"old filter", "new filter"}, {"A", "B"}, {"drop box", "cyclone"}, {"filter running", "filter off"}}
	for day, d := range workdays {
		date := fmt.Sprintf("2026-03-%02d", d)
		for i, pair := range names {
			mustRun(t, dir, "setup", "use", pair[day%2], "--at", fmt.Sprintf("%s %02d:05", date, 8+i))
		}
		for hour := 8; hour < 14; hour++ {
			name := []string{"sanding", "planing"}[hour%2]
			mustRun(t, dir, "task", "add", name, "--material", "oak", "--from", fmt.Sprintf("%s %02d:10", date, hour), "--to", fmt.Sprintf("%s %02d:40", date, hour))
		}
		mustRun(t, dir, "task", "add", "zero check", "--from", date+" 07:10", "--to", date+" 07:45")
		mustRun(t, dir, "airflow", "add", "flow", fmt.Sprintf("%d m3/h", 1100+40*day), "--at", date+" 10:20")
		mustRun(t, dir, "calibrate", "filter", "--sensor", "bench", "--from", date+" 08:00", "--to", date+" 14:50", "--method", "0600", "--material", "oak",
			"--flow-before", "2.2", "--flow-after", "2.15", "--before-mg", "12.345", "--after-mg", fmt.Sprintf("13.%d91", 4-day%2), "--blank", "12.100:12.106", "--blank", "12.210:12.214")
	}
	return dir
}

// tomlIn is the first example of a configuration on a page.
func tomlIn(t *testing.T, path string) string {
	t.Helper()
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(content), "```toml\n")
	require.True(t, found)
	example, _, found := strings.Cut(rest, "```")
	require.True(t, found)
	return example
}

// inShop runs the program as at now.
func inShop(t *testing.T, dir string, now time.Time, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	store := "s.db"
	if args[0] == "restore" {
		store = "restored.db" // for it overwrites none
	}
	var out, errs bytes.Buffer
	env := cli.Env{Stdin: strings.NewReader(""), Stdout: &out, Stderr: &errs, Now: func() time.Time { return now },
		LookupEnv: func(string) (string, bool) { return "", false }}
	// In front, for behind a "--" they would be arguments.
	args = append([]string{"--store", filepath.Join(dir, store), "--config", filepath.Join(dir, "shop.toml")}, args...)
	code = cli.Main(t.Context(), args, env)
	return code, out.String(), errs.String()
}

func mustRun(t *testing.T, dir string, args ...string) {
	t.Helper()
	code, _, stderr := inShop(t, dir, evening, args...)
	require.Zero(t, code, "%v: %s", args, stderr)
}

// The calls of README and docs do what the page says they do: each page's calls run
// one after the other in a shop of their own.
func TestDocumentedCallsRun(t *testing.T) {
	if testing.Short() {
		t.Skip("as many runs as the pages have calls; they run without -short")
	}
	made := documentedShop(t)
	ran := 0
	for _, page := range documentedPages(t) {
		calls := commandsIn(t, page)
		if len(calls) == 0 {
			continue
		}
		t.Run(filepath.Base(page), func(t *testing.T) {
			dir := t.TempDir()
			require.NoError(t, os.CopyFS(dir, os.DirFS(made)))
			t.Chdir(dir)
			for i, call := range calls {
				args := shellWords(t, strings.ReplaceAll(call, "/media/stick", filepath.Join(dir, "stick")))
				if _, elsewhere := notRun[args[0]]; elsewhere || strings.Contains(call, "influx://") {
					continue
				}
				code, _, stderr := inShop(t, dir, evening.Add(time.Duration(i)*10*time.Minute), args...)
				require.Zero(t, code, "%s: %s", call, stderr)
				ran++
			}
		})
	}
	require.Greater(t, ran, 40, "most calls run")
	for _, path := range notRun {
		require.FileExists(t, filepath.Join("../..", path))
	}
}
