package cli_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/cli"
	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
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

// TestChamberRecordings imports real recordings of a closed chamber being
// cleaned at two speeds and compares the clearance by runs. Source of the
// expected interval: the README beside the data, fitted with NumPy and compared
// with SciPy (Welch on logs): 1.3723 (1.3355 to 1.4101).
func TestChamberRecordings(t *testing.T) {
	dir := "../../testdata/chamber"
	store := filepath.Join(t.TempDir(), "chamber.db")
	rates := map[int][]float64{}
	for speed, runs := range map[int]string{1: "abcdefg", 2: "abcde"} {
		for i, run := range runs {
			name := fmt.Sprintf("speed-%d_run-%c", speed, run)
			start := now.AddDate(0, 0, -speed*10-i)
			importRun(t, filepath.Join(dir, "cleaner-a_"+name+"_sps30.csv"), store, name, start)
			seconds, c := series(t, store, name)
			fit, err := compare.ClearanceRate(seconds, c, 1000, 100)
			require.NoError(t, err, name)
			rates[speed] = append(rates[speed], fit.PerHour)
		}
	}
	ratio, err := compare.WelchLogRatio(rates[1], rates[2], 0.95)
	require.NoError(t, err)
	// Imported times are cut to milliseconds; that moves a rate by less than 0.1 %.
	require.InDelta(t, 1.3723, ratio.Ratio, 0.002)
	require.InDelta(t, 1.3355, ratio.Low, 0.002)
	require.InDelta(t, 1.4101, ratio.High, 0.002)
}

func importRun(t *testing.T, file, store, sensor string, start time.Time) {
	t.Helper()
	if _, err := os.Stat(file); err != nil {
		t.Fatal(err)
	}
	args := []string{"import", file, "--store", store, "--sensor", sensor, "--model", "sps30", "--start", start.Format(time.RFC3339), "--ignore", "temp_F"}
	for header, key := range map[string]string{
		"time": "elapsed_s", "mPM1.0": "pm1_ug_m3", "mPM2.5": "pm2_5_ug_m3", "mPM4.0": "pm4_ug_m3", "mPM10": "pm10_ug_m3",
		"nPM0.5": "nPM0_5_cm3", "nPM1.0": "nPM1_0_cm3", "nPM2.5": "nPM2_5_cm3", "nPM4.0": "nPM4_0_cm3", "nPM10": "nPM10_cm3",
		"temp_C": "temperature_c", "rh": "rh_percent",
	} {
		args = append(args, "--column", header+"="+key)
	}
	code, _, stderr := run(t, append(args, "--ignore", "typical")...)
	require.Zero(t, code, stderr)
}

func series(t *testing.T, store, sensor string) (seconds, c []float64) {
	t.Helper()
	records, err := sqlite.Open(t.Context(), store, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	defer records.Close()
	all, err := records.Series(t.Context(), dust.Sensor{Name: sensor}, []dust.Channel{dust.PM25}, time.Time{}, time.Time{})
	require.NoError(t, err)
	ms, value, _ := all[dust.PM25].Columns()
	require.NotEmpty(t, ms)
	for i := range ms {
		seconds = append(seconds, float64(ms[i]-ms[0])/1000)
		c = append(c, value[i])
	}
	return seconds, c
}
