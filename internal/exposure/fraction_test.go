package exposure

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

// Percent of the total airborne particles by EN 481:1993, the table of numerical
// values (rows from memory; the rows 1 to 6, 8, 10, 15, 20, 30, 50 and 100 were
// also computed from the formulas with other software). The table is printed to
// 0.1 and rounds once more in places, as in 91.7 for 91.76: hence the tolerance.
func TestPublishedFractions(t *testing.T) {
	rows := []struct{ d, inhalable, thoracic, respirable float64 }{
		{0, 100, 100, 100},
		{1, 97.1, 97.1, 97.1}, {2, 94.3, 94.3, 91.4}, {3, 91.7, 91.7, 73.9}, {4, 89.3, 89.0, 50.0},
		{5, 87.0, 85.4, 30.0}, {6, 84.9, 80.5, 16.8}, {7, 82.9, 74.2, 9.0}, {8, 80.9, 66.6, 4.8},
		{9, 79.1, 58.3, 2.5}, {10, 77.4, 50.0, 1.3}, {12, 74.3, 34.9, 0.4}, {15, 70.3, 18.7, 0.1},
		{20, 65.1, 5.9, 0}, {25, 61.2, 1.8, 0}, {30, 58.3, 0.6, 0}, {50, 52.5, 0, 0}, {100, 50.1, 0, 0},
	}
	for _, c := range []struct {
		name     string
		fraction func(float64) float64
		printed  func(i int) float64
	}{
		{"inhalable", Inhalable, func(i int) float64 { return rows[i].inhalable }},
		{"thoracic", Thoracic, func(i int) float64 { return rows[i].thoracic }},
		{"respirable", Respirable, func(i int) float64 { return rows[i].respirable }},
	} {
		var published, got []float64
		for i, row := range rows {
			published, got = append(published, c.printed(i)), append(got, 100*c.fraction(row.d))
		}
		validation.CheckAll(t, c.name+" fraction at 0 to 100 µm, % of total airborne particles", "EN 481:1993, table of numerical values (from memory)", published, got, 0.1)
	}
}

// Law of EN 481: each convention is a part of the one before, and all fall with size.
func TestFractionsAreNested(t *testing.T) {
	for d := 0.5; d <= 99.5; d += 0.5 {
		require.LessOrEqual(t, Respirable(d), Thoracic(d))
		require.LessOrEqual(t, Thoracic(d), Inhalable(d))
		require.LessOrEqual(t, Inhalable(d+0.5), Inhalable(d))
		require.LessOrEqual(t, Respirable(d+0.5), Respirable(d))
	}
}

func TestFractionsOutsideTheConvention(t *testing.T) {
	for _, d := range []float64{-1, 100.1, math.Inf(1), math.NaN()} {
		require.True(t, math.IsNaN(Inhalable(d)), "inhalable at %g", d)
		require.True(t, math.IsNaN(Thoracic(d)), "thoracic at %g", d)
		require.True(t, math.IsNaN(Respirable(d)), "respirable at %g", d)
	}
}

func TestParseFraction(t *testing.T) {
	for text, want := range map[string]Fraction{
		"inhalable": InhalableFraction, "inhalable (E)": InhalableFraction, "Respirable (A)": RespirableFraction,
		"not stated": NotStatedFraction, "PM2_5": PM25Fraction, "pm2.5": PM25Fraction, "PM10": PM10Fraction, " total ": TotalFraction,
	} {
		got, err := ParseFraction(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
	_, err := ParseFraction("coarse")
	require.ErrorContains(t, err, "thoracic")
}

// Half of 10 µm particles reach the thorax and half of 4 µm ones the lung's
// depth, by EN 481:1993.
func ExampleRespirable() {
	fmt.Printf("respirable at 4 µm: %.2f\n", Respirable(4))
	fmt.Printf("thoracic at 10 µm: %.2f\n", Thoracic(10))
	fmt.Printf("inhalable at 100 µm: %.2f\n", Inhalable(100))
	// Output:
	// respirable at 4 µm: 0.50
	// thoracic at 10 µm: 0.50
	// inhalable at 100 µm: 0.50
}
