package group

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// ShapiroWilk is the W of Shapiro and Wilk for normality and the probability of a
// W as small if the values are normal. Source: Shapiro and Wilk 1965, Biometrika
// 52:591; weights and p by Royston 1995, algorithm AS R94, Appl. Stat. 44:547.
// Domain: 3 ≤ n ≤ 5000, values (here: logarithms) not all equal.
func ShapiroWilk(values []float64) (w, p float64, err error) {
	n := len(values)
	if n < 3 {
		return 0, 0, TooFewError{Have: n, Need: 3}
	}
	x := slices.Clone(values)
	slices.Sort(x)
	mean, sd := stat.MeanStdDev(x, nil)
	if !(sd > noSpread) {
		return 0, 0, ErrNoSpread
	}
	a := shapiroWeights(n)
	var b, ss float64
	for i, v := range x {
		b += a[i] * (v - mean)
		ss += (v - mean) * (v - mean)
	}
	w = min(1, b*b/ss)
	return w, shapiroP(w, n), nil
}

// shapiroWeights approximates the best linear unbiased weights.
func shapiroWeights(n int) []float64 {
	if n == 3 {
		return []float64{-math.Sqrt(0.5), 0, math.Sqrt(0.5)}
	}
	m := make([]float64, n) // approximate expected order statistics
	var mm float64
	for i := range m {
		m[i] = normalQuantile((float64(i+1) - 0.375) / (float64(n) + 0.25))
		mm += m[i] * m[i]
	}
	u := 1 / math.Sqrt(float64(n))
	last := m[n-1]/math.Sqrt(mm) + polynomial(u, 0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056)
	next := m[n-2]/math.Sqrt(mm) + polynomial(u, 0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633)
	ends := []float64{last}
	rest, scale := mm-2*m[n-1]*m[n-1], 1-2*last*last
	if n > 5 {
		ends = append(ends, next)
		rest, scale = rest-2*m[n-2]*m[n-2], scale-2*next*next
	}
	a := make([]float64, n)
	for i := range a {
		a[i] = m[i] / math.Sqrt(rest/scale)
	}
	for i, v := range ends {
		a[i], a[n-1-i] = -v, v
	}
	return a
}

// shapiroP is the probability of a W this small: exact for n = 3, otherwise a
// normal approximation of a transform of 1 − W.
func shapiroP(w float64, n int) float64 {
	if n == 3 {
		return max(0, 6/math.Pi*(math.Asin(math.Sqrt(w))-math.Asin(math.Sqrt(0.75))))
	}
	var y, mean, sd float64
	if size := float64(n); n <= 11 {
		gamma := polynomial(size, -2.273, 0.459)
		if y = math.Log(1 - w); y >= gamma {
			return 0
		}
		y = -math.Log(gamma - y)
		mean = polynomial(size, 0.544, -0.39978, 0.025054, -6.714e-4)
		sd = math.Exp(polynomial(size, 1.3822, -0.77857, 0.062767, -0.0020322))
	} else {
		y = math.Log(1 - w)
		size = math.Log(size)
		mean = polynomial(size, -1.5861, -0.31082, -0.083751, 0.0038915)
		sd = math.Exp(polynomial(size, -0.4803, -0.082676, 0.0030302))
	}
	return normalCDF(-(y - mean) / sd)
}

// polynomial is c[0] + c[1]·x + c[2]·x² + …
func polynomial(x float64, c ...float64) (sum float64) {
	for _, v := range slices.Backward(c) {
		sum = sum*x + v
	}
	return sum
}
