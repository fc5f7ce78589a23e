package compare

import (
	"math"

	"dustlog/internal/calibrate"
)

// fitOutside fits room = a + b·outside to the idle means by Deming's regression,
// since both sensors err. Where the line is too unsure, b is taken as 1.
//
// Means that follow each other are alike, so only those far enough apart that
// their errors are not count as independent. Variances: s²(a) = s²/n + x̄²·s²(b),
// cov(a, b) = −x̄·s²(b), of the line through the means' centre (x̄, ȳ).
func fitOutside(means []idleMean) (*ground, bool) {
	if len(means) < fewestOffset {
		return nil, false
	}
	var x, y []float64
	split := func(m []idleMean) {
		x, y = nil, nil
		for _, v := range m {
			x, y = append(x, v.outside), append(y, v.room)
		}
	}
	split(means)
	line, err := calibrate.Deming(x, y, 1)
	b := line.Slope
	if err != nil || !(line.Slope > 0) {
		b = 1
	}
	thin := thinned(means, func(m idleMean) float64 { return m.room - b*m.outside })
	split(thin)
	n := float64(len(thin))
	if len(thin) >= fewestLine {
		line, err = calibrate.Deming(x, y, 1)
		if err == nil && line.Slope > 0 && line.SlopeSE < unsureSlope*line.Slope {
			mx, _ := meanSD(x)
			_, sd := meanSD(residuals(x, y, line.Slope))
			v := line.SlopeSE * line.SlopeSE
			return &ground{
				kind: lineGround, a: line.Intercept, b: line.Slope,
				varA: sd*sd/n + mx*mx*v, varB: v, cov: -mx * v,
				df: n - 2, spread: sd, n: len(thin),
			}, true
		}
	}
	if len(thin) < fewestOffset {
		return nil, false
	}
	m, sd := meanSD(residuals(x, y, 1))
	return &ground{kind: offsetGround, a: m, b: 1, varA: sd * sd / n, df: n - 1, spread: sd, n: len(thin)}, true
}

func residuals(x, y []float64, slope float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = y[i] - slope*x[i]
	}
	return out
}

// thinned keeps every k-th mean of each idle stretch, k = (1 + r)/(1 − r) for the
// correlation r of neighbours: as many as count as independent for values that
// forget exponentially. Source: Bayley & Hammersley 1946, J. R. Stat. Soc. Suppl.
// 8:184.
func thinned(means []idleMean, value func(idleMean) float64) (out []idleMean) {
	var all []float64
	for _, m := range means {
		all = append(all, value(m))
	}
	centre, _ := meanSD(all)
	var product, square float64
	for i, m := range means {
		square += (all[i] - centre) * (all[i] - centre)
		if i > 0 && means[i-1].stretch == m.stretch {
			product += (all[i] - centre) * (all[i-1] - centre)
		}
	}
	k := 1
	if r := product / square; r > 0 {
		k = int(math.Min(longestThinning, math.Ceil((1+r)/(1-math.Min(r, 0.99)))))
	}
	at, stretch := 0, -1
	for _, m := range means {
		if m.stretch != stretch {
			at, stretch = 0, m.stretch
		}
		if at%k == 0 {
			out = append(out, m)
		}
		at++
	}
	return out
}
