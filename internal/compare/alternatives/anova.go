package alternatives

import (
	"fmt"

	"gonum.org/v1/gonum/stat/distuv"
)

// OneWay is a one-way analysis of variance.
type OneWay struct {
	Between, Within float64 // sums of squares
	F, P            float64
	// ICC is the share of the variance that members of a group have in common,
	// (MSB − MSW)/(MSB + (m − 1)·MSW), m values a group. Runs of one session with an
	// ICC above zero are no independent observations.
	ICC float64
}

// Anova splits the variance of groups of values. For groups of unequal size m is
// (N − Σn²/N)/(k − 1). Source: Searle 1971, ch. 6; Shrout & Fleiss 1979, Psychol.
// Bull. 86:420. Errors wrap ErrTooFew or ErrNoSpread.
func Anova(groups [][]float64) (OneWay, error) {
	var all []float64
	var squares float64
	k := 0.0
	for _, g := range groups {
		if len(g) == 0 {
			continue
		}
		all = append(all, g...)
		squares += float64(len(g)) * float64(len(g))
		k++
	}
	n := float64(len(all))
	if k < 2 || n <= k {
		return OneWay{}, fmt.Errorf("%g values in %g groups: %w", n, k, ErrTooFew)
	}
	var r OneWay
	grand := mean(all)
	for _, g := range groups {
		m := mean(g)
		r.Between += float64(len(g)) * (m - grand) * (m - grand)
		for _, x := range g {
			r.Within += (x - m) * (x - m)
		}
	}
	msb, msw := r.Between/(k-1), r.Within/(n-k)
	if !(msw > 0) {
		return r, fmt.Errorf("values within groups: %w", ErrNoSpread)
	}
	r.F = msb / msw
	r.P = distuv.F{D1: k - 1, D2: n - k}.Survival(r.F)
	m := (n - squares/n) / (k - 1)
	r.ICC = (msb - msw) / (msb + (m-1)*msw)
	return r, nil
}
