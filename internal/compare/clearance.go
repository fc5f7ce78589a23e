package compare

import (
	"fmt"
	"math"
)

// Clearance is the first-order rate at which dust leaves the air once its source
// is off.
type Clearance struct {
	PerHour float64 // rate λ in 1/h: ventilation, cleaning and settling together
	SE      float64 // standard error within this run in 1/h; repeats differ by more
	N       int     // readings used
}

// ClearanceRate fits ln c = a − λ·t by least squares to a decay: after the
// highest value, from the first value ≤ high to the last before the first value
// < low. seconds are elapsed, c is a concentration in any unit, high and low in
// the same.
//
// Source: first-order decay of a mixed room. Valid while c is far above the
// background; near it the logarithm bends and the rate comes out too low. The SE
// treats readings as independent, so only repeats of the run tell how sure the
// rate is. Errors wrap ErrTooFew, ErrNotPositive or ErrNoSpread.
func ClearanceRate(seconds, c []float64, high, low float64) (Clearance, error) {
	if len(seconds) != len(c) {
		return Clearance{}, fmt.Errorf("clearance rate: %d times for %d values", len(seconds), len(c))
	}
	if !(low > 0 && high > low) {
		return Clearance{}, fmt.Errorf("clearance rate from %g down to %g: %w or not falling", high, low, ErrNotPositive)
	}
	t, y := decayWindow(seconds, c, high, low)
	if len(t) < 3 {
		return Clearance{}, fmt.Errorf("clearance rate from %g down to %g: %d readings, need three: %w", high, low, len(t), ErrTooFew)
	}
	slope, se, ok := line(t, y)
	if !ok {
		return Clearance{}, fmt.Errorf("clearance rate: times: %w", ErrNoSpread)
	}
	const perHour = 3600
	return Clearance{PerHour: -slope * perHour, SE: se * perHour, N: len(t)}, nil
}

// decayWindow picks the times and logs of the readings to fit.
func decayWindow(seconds, c []float64, high, low float64) (t, y []float64) {
	top := 0
	for i, v := range c {
		if v > c[top] {
			top = i
		}
	}
	for i := top; i < len(c); i++ {
		if c[i] < low {
			break
		}
		if len(t) > 0 || c[i] <= high {
			t, y = append(t, seconds[i]), append(y, math.Log(c[i]))
		}
	}
	return t, y
}

// line is the least squares slope of y on x and its standard error. ok is false
// if x does not vary. It needs three points.
func line(x, y []float64) (slope, se float64, ok bool) {
	mx, _ := meanSD(x)
	my, _ := meanSD(y)
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	if !(sxx > 0) {
		return 0, 0, false
	}
	slope = sxy / sxx
	var rss float64
	for i := range x {
		e := y[i] - my - slope*(x[i]-mx)
		rss += e * e
	}
	return slope, math.Sqrt(rss / float64(len(x)-2) / sxx), true
}
