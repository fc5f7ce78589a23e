package group

import "math"

// KaplanMeier is the distribution of left-censored values without any shape
// assumed: their survival curve with the axis turned round. Source: Helsel 2012,
// Statistics for Censored Environmental Data, 2nd ed., ch. 6.
type KaplanMeier struct {
	steps  []step  // from the highest detected value down
	lowest float64 // lowest value listed, mg/m³
}

type step struct {
	at    float64 // detected value, mg/m³
	below float64 // share of shifts below it
}

// NewKaplanMeier takes at least one value; all must be above zero.
func NewKaplanMeier(values []Value) KaplanMeier {
	km := KaplanMeier{lowest: math.Inf(1)}
	index := order(values)
	share := 1.0
	for i := len(index) - 1; i >= 0; {
		v := values[index[i]]
		atOrBelow, here := i+1, 0
		for ; i >= 0 && values[index[i]].MgM3 == v.MgM3; i-- {
			if !values[index[i]].Below {
				here++
			}
		}
		if here > 0 {
			share *= 1 - float64(here)/float64(atOrBelow)
			km.steps = append(km.steps, step{v.MgM3, share})
		}
		km.lowest = v.MgM3
	}
	return km
}

// MassBelow is the share of shifts below the lowest detected one.
func (km KaplanMeier) MassBelow() float64 {
	if len(km.steps) == 0 {
		return 1
	}
	return km.steps[len(km.steps)-1].below
}

// Mean puts the share below the lowest detected value at the lowest value listed,
// so it is a mean of "at most", mg/m³.
func (km KaplanMeier) Mean() float64 {
	mean, share := km.MassBelow()*km.lowest, 1.0
	for _, s := range km.steps {
		mean += (share - s.below) * s.at
		share = s.below
	}
	return mean
}

// Percentile is the highest detected value with at most a share p below it, mg/m³;
// ok is false if the percentile lies below all of them.
func (km KaplanMeier) Percentile(p float64) (mgM3 float64, ok bool) {
	for _, s := range km.steps {
		if s.below <= p+1e-9 {
			return s.at, true
		}
	}
	return 0, false
}
