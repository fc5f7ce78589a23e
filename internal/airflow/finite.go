package airflow

import "math"

// ptr returns nil for what is not a number, so that JSON says null.
func ptr[T ~float64](x T) *T {
	if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
		return nil
	}
	return &x
}
