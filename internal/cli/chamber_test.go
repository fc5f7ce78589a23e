package cli_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/cli"
	"dustlog/internal/compare"
	"dustlog/internal/validation"
)

var now = time.Date(2026, time.April, 1, 12, 0, 0, 0, time.UTC)

// run runs the command line in this process and returns its exit code and output.
func run(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = cli.Main(t.Context(), args, cli.Env{
		Stdin: strings.NewReader(""), Stdout: &out, Stderr: &errs,
		LookupEnv: func(string) (string, bool) { return "", false },
		Now:       func() time.Time { return now },
	})
	return code, out.String(), errs.String()
}

// chamber is one set of real recordings of a closed chamber being cleaned under
// two setups.
type chamber struct {
	sensor string // and the end of the file names
	old    string // setup, and the begin of its files
	new    string
	files  [2]string // prefixes
	runs   [2]string // letters
	window string    // between which levels the rate is read
	// Ratio of the clearance rates new/old with its interval: the README beside the
	// data, NumPy and SciPy.
	ratio, low, high float64
	columns          []string
}

var chambers = []chamber{
	{
		sensor: "sps30", old: "speed 1", new: "speed 2", files: [2]string{"cleaner-a_speed-1", "cleaner-a_speed-2"}, runs: [2]string{"abcdefg", "abcde"},
		window: "1000,100", ratio: 1.3723, low: 1.3355, high: 1.4101,
		columns: []string{
			"mPM1.0=pm1_ug_m3", "mPM2.5=pm2_5_ug_m3", "mPM4.0=pm4_ug_m3", "mPM10=pm10_ug_m3",
			"nPM0.5=nPM0_5_cm3", "nPM1.0=nPM1_0_cm3", "nPM2.5=nPM2_5_cm3", "nPM4.0=nPM4_0_cm3", "nPM10=nPM10_cm3",
			"temp_C=temperature_c", "rh=rh_percent", "typical", "temp_F",
		},
	},
	{
		sensor: "sds011", old: "speed 1", new: "speed 2", files: [2]string{"cleaner-a_speed-1", "cleaner-a_speed-2"}, runs: [2]string{"abcdefg", "abcde"},
		window: "500,50", ratio: 1.2477, low: 1.2167, high: 1.2795,
		columns: []string{"pm2.5=pm2_5_ug_m3", "pm10=pm10_ug_m3"},
	},
	{
		sensor: "pms5003", old: "66 %", new: "100 %", files: [2]string{"cleaner-b_power-66", "cleaner-b_power-100"}, runs: [2]string{"abc", "abc"},
		window: "500,50", ratio: 1.2664, low: 1.0637, high: 1.5078,
		columns: []string{
			"pm1.0=pm1_ug_m3", "pm2.5=pm2_5_ug_m3", "pm10=pm10_ug_m3", ">0.3=n0_3_per_0_1l", ">0.5=n0_5_per_0_1l", ">1.0=n1_0_per_0_1l",
			">2.5=n2_5_per_0_1l", ">5=n5_per_0_1l", ">10=n10_per_0_1l",
		},
	},
}

// TestPublishedChamberRecordings carries the recordings through import, diary and
// compare. Each run is a day's session: filling the chamber is its task, and the
// fall after it tells the clearance rate.
func TestPublishedChamberRecordings(t *testing.T) {
	for _, c := range chambers {
		t.Run(c.sensor, func(t *testing.T) {
			config := filepath.Join(t.TempDir(), "dustlog.toml")
			require.NoError(t, os.WriteFile(config, []byte("[shop]\nzone = \"UTC\"\n"), 0o600))
			store := filepath.Join(t.TempDir(), "chamber.db")
			do := func(args ...string) string {
				code, out, errs := run(t, append(args, "--config", config, "--store", store)...)
				require.Zero(t, code, errs)
				return out
			}
			day := now.AddDate(0, -1, 0)
			for side, setup := range []string{c.old, c.new} {
				do("setup", "use", setup, "--at", day.Add(-time.Hour).Format(time.RFC3339))
				for _, letter := range c.runs[side] {
					file := fmt.Sprintf("../../testdata/chamber/%s_run-%c_%s.csv", c.files[side], letter, c.sensor)
					do(importArgs(c, file, day)...)
					do("task", "add", "filling", "--from", day.Format(time.RFC3339), "--to", day.Add(time.Minute).Format(time.RFC3339))
					day = day.AddDate(0, 0, 1)
				}
			}
			var res compare.Result
			out := do("compare", "--before", c.old, "--after", c.new, "--clearance-window", c.window, "--json")
			require.NoError(t, json.Unmarshal([]byte(out), &res))
			rate := outcome(t, res, "clearance rate")
			require.Equal(t, [2]int{len(c.runs[0]), len(c.runs[1])}, [2]int{rate.NBefore, rate.NAfter})
			require.NotNil(t, rate.CILow)
			validation.CheckAll(t, "clearance rate, "+c.new+" over "+c.old+", "+c.sensor+": ratio and interval, through import, diary and compare",
				"recordings in testdata/chamber (repository robwiss/analyze_cadr); NumPy and SciPy",
				[]float64{c.ratio, c.low, c.high}, []float64{*rate.Ratio, *rate.CILow, *rate.CIHigh}, 0.00005)
		})
	}
}

func importArgs(c chamber, file string, start time.Time) []string {
	args := []string{
		"import", file, "--sensor", "chamber", "--model", c.sensor, "--position", "room",
		"--start", start.Format(time.RFC3339), "--column", "time=elapsed_s",
	}
	for _, column := range c.columns {
		if strings.Contains(column, "=") {
			args = append(args, "--column", column)
		} else {
			args = append(args, "--ignore", column)
		}
	}
	return args
}

func outcome(t *testing.T, r compare.Result, label string) compare.Outcome {
	t.Helper()
	for _, o := range r.Outcomes {
		if strings.HasPrefix(o.Label.String(), label) {
			return o
		}
	}
	require.Failf(t, "no such outcome", "%q in %v", label, r.Outcomes)
	return compare.Outcome{}
}
