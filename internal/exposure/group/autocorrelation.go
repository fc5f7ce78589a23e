package group

import "gonum.org/v1/gonum/stat"

// lag1 is the autocorrelation of values in their order at lag 1:
// Σ(y_i−ȳ)(y_i+1−ȳ) / Σ(y_i−ȳ)². Source: Box and Jenkins 1976, Time Series
// Analysis, 2.1.5. Values must not all be equal.
func lag1(y []float64) float64 {
	mean := stat.Mean(y, nil)
	var next, square float64
	for i, v := range y {
		square += (v - mean) * (v - mean)
		if i > 0 {
			next += (v - mean) * (y[i-1] - mean)
		}
	}
	return next / square
}
