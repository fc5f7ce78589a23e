package dust

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Concentration is a mass of dust per volume of air, in µg/m³.
type Concentration float64

// Units a Concentration can be given in.
const (
	MicrogramPerM3 Concentration = 1
	MilligramPerM3 Concentration = 1000
)

// MilligramsPerM3 returns c in mg/m³, the unit of workplace limits.
func (c Concentration) MilligramsPerM3() float64 { return float64(c / MilligramPerM3) }

// String prints c with its unit: µg/m³ below 1 mg/m³, mg/m³ from there on.
func (c Concentration) String() string {
	if math.Abs(float64(c)) >= float64(MilligramPerM3) {
		return strconv.FormatFloat(c.MilligramsPerM3(), 'g', 4, 64) + " mg/m³"
	}
	return strconv.FormatFloat(float64(c), 'g', 4, 64) + " µg/m³"
}

// ParseConcentration reads a number with its unit: µg/m³ (also ug/m3) or mg/m³
// (also mg/m3). A bare number is refused, since a factor of 1000 hides in it.
func ParseConcentration(s string) (Concentration, error) {
	text := strings.TrimSpace(s)
	for _, u := range []struct {
		suffix string
		unit   Concentration
	}{
		{"µg/m³", MicrogramPerM3}, {"μg/m³", MicrogramPerM3}, {"ug/m³", MicrogramPerM3},
		{"µg/m3", MicrogramPerM3}, {"μg/m3", MicrogramPerM3}, {"ug/m3", MicrogramPerM3},
		{"mg/m³", MilligramPerM3}, {"mg/m3", MilligramPerM3},
	} {
		number, ok := strings.CutSuffix(text, u.suffix)
		if !ok {
			continue
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return 0, fmt.Errorf("concentration %q: %q is not a number", s, strings.TrimSpace(number))
		}
		return Concentration(x) * u.unit, nil
	}
	return 0, fmt.Errorf("concentration %q has no unit: write it as in \"120 ug/m3\" or \"1.5 mg/m3\"", s)
}
