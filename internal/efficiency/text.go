package efficiency

import (
	"math"
	"strconv"
	"strings"
)

// PercentText prints an efficiency in percent with as many digits as its
// penetration has two significant ones: never 100.
func PercentText(efficiencyPercent float64) string {
	penetration := 100 - efficiencyPercent
	digits := 0
	if penetration > 0 && penetration < 10 {
		digits = min(int(1-math.Floor(math.Log10(penetration))), 9)
	}
	text := strconv.FormatFloat(efficiencyPercent, 'f', digits, 64)
	if strings.HasPrefix(text, "100") {
		return "above 99.999"
	}
	return text
}
