package exposure

import (
	"fmt"
	"iter"
	"math"
	"time"

	"dustlog/internal/dust"
)

const eightHoursMs = int64(8 * time.Hour / time.Millisecond)

// TWA8h is the 8-hour time-weighted average in the unit of the spans' values:
//
//	E = ΣC·Δt / 8 h
//
// always divided by 8 h, so time that no span covers counts as no exposure: say
// so wherever the number is shown. Source: 29 CFR 1910.1000(d)(1)(i). Pass
// usable spans only.
func TWA8h(spans iter.Seq[dust.Span]) float64 {
	dose, _ := integrate(spans)
	return dose / float64(eightHoursMs)
}

// MeasuredMean is the mean over the measured time, ΣC·Δt / ΣΔt, in the unit of
// the spans' values, and that time. ok is false if nothing was measured. Pass
// usable spans only.
func MeasuredMean(spans iter.Seq[dust.Span]) (mean float64, measured time.Duration, ok bool) {
	dose, ms := integrate(spans)
	if ms <= 0 {
		return 0, 0, false
	}
	return dose / float64(ms), time.Duration(ms) * time.Millisecond, true
}

// integrate returns ΣC·Δt in value·ms, and ΣΔt in ms.
func integrate(spans iter.Seq[dust.Span]) (dose float64, ms int64) {
	for p := range spans {
		dose += p.Value * float64(p.To-p.From)
		ms += p.To - p.From
	}
	return dose, ms
}

// TWAHours is the time a shift's dose is divided by for a limit: 8 h, or for an
// "up to 10-hour workday" limit the shift's length between 8 h and 10 h. Source:
// 29 CFR 1910.1000(d)(1)(i); the NIOSH Pocket Guide defines its RELs as averages
// "for up to a 10-hour workday" (from memory) and leaves the divisor open, so
// the shorter one that the words allow is taken, which gives the higher mean,
// except that a shift below 8 h is treated as by an 8-h limit.
func TWAHours(averaging Averaging, shift time.Duration) time.Duration {
	if averaging != TenHours {
		return 8 * time.Hour
	}
	return min(max(shift, 8*time.Hour), 10*time.Hour)
}

// MixtureIndex is the equivalent exposure of substances that add up:
//
//	E_m = C1/L1 + C2/L2 + … + Cn/Ln
//
// with concentrations C and limits L in one unit; above 1 the mixture is over.
// Source: 29 CFR 1910.1000(d)(2)(i). Not for wood species: where hardwood is in
// the mix, its limit holds for the whole dust (EU, UK, German rules).
func MixtureIndex(concentrations, limits []float64) (float64, error) {
	if len(concentrations) == 0 || len(concentrations) != len(limits) {
		return 0, fmt.Errorf("mixture index: %d concentrations and %d limits: give one limit for each, at least one", len(concentrations), len(limits))
	}
	sum := 0.0
	for i, c := range concentrations {
		if !(c >= 0) || !finite(c) || !(limits[i] > 0) || !finite(limits[i]) {
			return 0, fmt.Errorf("mixture index: part %d has concentration %g and limit %g: the first must be zero or more, the second above zero", i+1, c, limits[i])
		}
		sum += c / limits[i]
	}
	return sum, nil
}

// clip yields the parts of spans inside [from, to).
func clip(spans []dust.Span, from, to int64) iter.Seq[dust.Span] {
	return func(yield func(dust.Span) bool) {
		for _, p := range spans {
			if p.From >= to {
				return
			}
			p.From, p.To = max(p.From, from), min(p.To, to)
			if p.To > p.From && !yield(p) {
				return
			}
		}
	}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
