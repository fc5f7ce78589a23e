package compare

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const chamberDir = "../../testdata/chamber"

// chamberFit is one line of a file of fits by NumPy; see the README there.
type chamberFit struct {
	File      string  `json:"file"`
	Column    string  `json:"column"`
	WindowHi  float64 `json:"window_hi"`
	WindowLo  float64 `json:"window_lo"`
	N         int     `json:"n"`
	LambdaPer float64 `json:"lambda_per_h"`
	SEPer     float64 `json:"se_per_h"`
}

func chamberFits(t *testing.T, file string, n int) (fits []chamberFit) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(chamberDir, file))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &fits))
	require.Len(t, fits, n)
	return fits
}

// allChamberFits are those of all three sensors.
func allChamberFits(t *testing.T) []chamberFit {
	t.Helper()
	return append(chamberFits(t, "decay-fits.json", 12), chamberFits(t, "decay-fits-sds011-pms5003.json", 18)...)
}

// chamberColumn reads the elapsed seconds and one column of a run.
func chamberColumn(t *testing.T, file, column string) (seconds, c []float64) {
	t.Helper()
	f, err := os.Open(filepath.Join(chamberDir, file))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	at := -1
	for i, name := range rows[0] {
		if name == column {
			at = i
		}
	}
	require.Positive(t, at)
	for _, row := range rows[1:] {
		x, err := strconv.ParseFloat(row[0], 64)
		require.NoError(t, err)
		y, err := strconv.ParseFloat(row[at], 64)
		require.NoError(t, err)
		seconds, c = append(seconds, x), append(c, y)
	}
	return seconds, c
}

func TestClearanceRateOfChamberRuns(t *testing.T) {
	for _, fit := range allChamberFits(t) {
		t.Run(fit.File, func(t *testing.T) {
			seconds, c := chamberColumn(t, fit.File, fit.Column)
			got, err := ClearanceRate(seconds, c, fit.WindowHi, fit.WindowLo)
			require.NoError(t, err)
			require.Equal(t, fit.N, got.N)
			// NumPy, printed with three decimals.
			require.InDelta(t, fit.LambdaPer, got.PerHour, 0.00051)
			require.InDelta(t, fit.SEPer, got.SE, 0.00051)
		})
	}
}

func TestChamberFanSpeedRatio(t *testing.T) {
	var slow, fast []float64
	for _, fit := range chamberFits(t, "decay-fits.json", 12) {
		seconds, c := chamberColumn(t, fit.File, fit.Column)
		got, err := ClearanceRate(seconds, c, fit.WindowHi, fit.WindowLo)
		require.NoError(t, err)
		if strings.Contains(fit.File, "speed-1") {
			slow = append(slow, got.PerHour)
		} else {
			fast = append(fast, got.PerHour)
		}
	}
	r, err := WelchLogRatio(slow, fast, 0.95)
	require.NoError(t, err)
	// SciPy, printed with four decimals; p with two digits.
	require.InDelta(t, 1.3723, r.Ratio, 0.000051)
	require.InDelta(t, 1.3355, r.Low, 0.000051)
	require.InDelta(t, 1.4101, r.High, 0.000051)
	require.InDelta(t, 5.2e-10, r.P, 0.051e-10)
}

// What the seconds of a single run say of its certainty: held against each other by
// it, 30 of 68 pairs of runs under one and the same setup differ at 5 %, where 3
// should. The count is from NumPy's rates and standard errors; docs/comparing.md
// shows it as a warning.
func TestSecondsOfOneRunPromiseTooMuch(t *testing.T) {
	groups := map[string][]Clearance{}
	for _, fit := range allChamberFits(t) {
		seconds, c := chamberColumn(t, fit.File, fit.Column)
		got, err := ClearanceRate(seconds, c, fit.WindowHi, fit.WindowLo)
		require.NoError(t, err)
		setup, _, _ := strings.Cut(fit.File, "_run")
		groups[setup+fit.Column] = append(groups[setup+fit.Column], got)
	}
	differ, pairs := 0, 0
	for _, runs := range groups {
		for i, a := range runs {
			for _, b := range runs[:i] {
				pairs++
				if math.Abs(math.Log(a.PerHour/b.PerHour)) > 1.96*math.Hypot(a.SE/a.PerHour, b.SE/b.PerHour) {
					differ++
				}
			}
		}
	}
	require.Equal(t, [2]int{30, 68}, [2]int{differ, pairs})
}

func TestClearanceRateOfAnExactDecay(t *testing.T) {
	// c = 5000·exp(−t/60 s): 60 per hour by construction, and no scatter.
	var seconds, c []float64
	for i := range 400 {
		seconds, c = append(seconds, float64(i)), append(c, 5000*math.Exp(-float64(i)/60))
	}
	got, err := ClearanceRate(seconds, c, 1000, 100)
	require.NoError(t, err)
	require.InDelta(t, 60, got.PerHour, 1e-9)
	require.InDelta(t, 0, got.SE, 1e-9)
}

func TestClearanceRateRefuses(t *testing.T) {
	_, err := ClearanceRate(nil, nil, 1000, 100)
	require.ErrorIs(t, err, ErrTooFew)
	_, err = ClearanceRate([]float64{0, 1, 2}, []float64{9, 8}, 1000, 100)
	require.ErrorContains(t, err, "3 times for 2 values")
	_, err = ClearanceRate([]float64{0, 1}, []float64{9, 8}, 1000, 0)
	require.ErrorIs(t, err, ErrNotPositive)
	_, err = ClearanceRate([]float64{5, 5, 5}, []float64{900, 500, 200}, 1000, 100)
	require.ErrorIs(t, err, ErrNoSpread)
}
