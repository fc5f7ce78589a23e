package respirator

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// HazardRatio is C/L: what protection factor it takes to bring a concentration
// (mg/m³) down to a limit (mg/m³). At or below 1 it does not by itself mean that
// no respirator is needed. Source: NIOSH Respirator Selection Logic 2004; BS EN 529.
func HazardRatio(mgM3, limitMgM3 float64) (float64, error) {
	if !(mgM3 >= 0) || math.IsInf(mgM3, 1) || !positive(limitMgM3) {
		return 0, fmt.Errorf("hazard ratio of %g mg/m³ to a limit of %g mg/m³: both must be numbers, the limit above zero", mgM3, limitMgM3)
	}
	return mgM3 / limitMgM3, nil
}

// MUC is the maximum use concentration APF·L, mg/m³: up to there a class is
// expected to keep what is breathed below the limit (mg/m³). Source: 29 CFR
// 1910.134(b) and (d)(3)(i)(B).
func MUC(apf, limitMgM3 float64) (float64, error) {
	if !(apf >= 1) || math.IsInf(apf, 1) || !positive(limitMgM3) {
		return 0, fmt.Errorf("maximum use concentration for factor %g and limit %g mg/m³: the factor must be at least 1, the limit above zero", apf, limitMgM3)
	}
	return apf * limitMgM3, nil
}

// EffectiveProtection is what a factor is worth if the respirator is worn for a
// share f of the exposed time at one concentration:
//
//	1 / ((1 − f) + f/APF)
//
// It follows from what is breathed being C·(1−f) + C·f/APF. Domain: APF ≥ 1,
// 0 ≤ f ≤ 1.
func EffectiveProtection(apf, worn float64) (float64, error) {
	if !(apf >= 1) || math.IsInf(apf, 1) || !(worn >= 0 && worn <= 1) {
		return 0, fmt.Errorf("effective protection of factor %g worn for %g of the time: the factor must be at least 1, the share between 0 and 1", apf, worn)
	}
	return 1 / ((1 - worn) + worn/apf), nil
}

// Choice is what one table says of a hazard ratio.
type Choice struct {
	Table  string  `json:"table"`
	Title  string  `json:"title"`
	Source string  `json:"source"`
	Covers []Class `json:"covers"` // APF ≥ ratio, the lowest first
	// NotRuledOut stands in place of Covers where the ratio is only a lower bound:
	// then it shows of no class that it is enough.
	NotRuledOut []Class `json:"not_ruled_out"`
	TooLow      []Class `json:"too_low"` // the highest first
}

// Covering sorts the classes of every table by whether they cover a hazard ratio:
// APF ≥ HR, which is C ≤ MUC. atLeast: the true ratio may be higher. A class that
// needs its maker's evidence counts by its lower factor.
func (f Factors) Covering(ratio float64, atLeast bool) []Choice {
	choices := make([]Choice, 0, len(f.Tables))
	for _, t := range f.Tables {
		c := Choice{Table: t.ID, Title: t.Title, Source: t.Source, Covers: []Class{}, NotRuledOut: []Class{}, TooLow: []Class{}}
		enough := []Class{}
		for _, class := range t.Classes {
			if class.APF >= ratio {
				enough = append(enough, class)
			} else {
				c.TooLow = append(c.TooLow, class)
			}
		}
		slices.SortStableFunc(enough, func(a, b Class) int { return cmp.Compare(a.APF, b.APF) })
		slices.SortStableFunc(c.TooLow, func(a, b Class) int { return cmp.Compare(b.APF, a.APF) })
		if atLeast {
			c.NotRuledOut = enough
		} else {
			c.Covers = enough
		}
		choices = append(choices, c)
	}
	return choices
}
