package clearance

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

const chamberDir = "../../testdata/chamber"

// chamberDecay is one run, from the first reading at or below 1000 µg/m³ on, and
// its rate as NumPy fitted a line to logarithms from 1000 to 100 µg/m³.
type chamberDecay struct {
	file     string
	hours, c []float64
	perHour  float64
}

func chamberDecays(t *testing.T) (out []chamberDecay) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(chamberDir, "decay-fits.json"))
	require.NoError(t, err)
	var fits []struct {
		File    string  `json:"file"`
		Column  string  `json:"column"`
		High    float64 `json:"window_hi"`
		PerHour float64 `json:"lambda_per_h"`
	}
	require.NoError(t, json.Unmarshal(raw, &fits))
	require.Len(t, fits, 12)
	for _, fit := range fits {
		f, err := os.Open(filepath.Join(chamberDir, fit.File))
		require.NoError(t, err)
		rows, err := csv.NewReader(f).ReadAll()
		require.NoError(t, err)
		require.NoError(t, f.Close())
		column := slices.Index(rows[0], fit.Column)
		require.Positive(t, column)
		d := chamberDecay{file: fit.File, perHour: fit.PerHour}
		for _, row := range rows[1:] {
			seconds, err := strconv.ParseFloat(row[0], 64)
			require.NoError(t, err)
			c, err := strconv.ParseFloat(row[column], 64)
			require.NoError(t, err)
			d.hours, d.c = append(d.hours, seconds/3600), append(d.c, c)
		}
		from := slices.Index(d.c, slices.Max(d.c))
		for d.c[from] > fit.High {
			from++
		}
		d.hours, d.c = d.hours[from:], d.c[from:]
		out = append(out, d)
	}
	return out
}

// Real runs of one SPS30, second by second. The chamber clears within a minute,
// as fast as the sensor follows: weights 1/C² would lean on its slow last digits,
// so they are equal here.
func TestPublishedChamberRates(t *testing.T) {
	const source = "recordings in testdata/chamber (repository robwiss/analyze_cadr); rates fitted with NumPy, ratio and interval with SciPy"
	var slow, fast []Fit
	var numpySlow []float64
	for _, d := range chamberDecays(t) {
		f, err := FitDecay(d.hours, d.c, Options{Weights: Equal})
		require.NoError(t, err, d.file)
		require.InEpsilon(t, d.perHour, f.PerHour, 0.035, "%s: two ways to fit one decay", d.file)
		if strings.Contains(d.file, "speed-1") {
			slow, numpySlow = append(slow, f), append(numpySlow, math.Log(d.perHour))
		} else {
			fast = append(fast, f)
		}
	}
	require.Len(t, slow, 7)
	require.Len(t, fast, 5)
	a, err := Pool(slow)
	require.NoError(t, err)
	b, err := Pool(fast)
	require.NoError(t, err)
	mean, _ := meanSD(numpySlow)
	validation.Check(t, "rate of a chamber at fan speed 1, geometric mean of 7 runs, 1/h", source, math.Exp(mean), a.PerHour, 2)
	validation.Check(t, "rate at fan speed 2 over rate at fan speed 1", source, 1.3723, b.PerHour/a.PerHour, (1.4101-1.3355)/2)
	require.Less(t, a.Low, math.Exp(mean))
	require.Greater(t, a.High, math.Exp(mean))
	require.Greater(t, b.Low, a.High, "the speeds differ")
}
