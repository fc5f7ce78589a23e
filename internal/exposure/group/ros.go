package group

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// ROS is regression on order statistics: shifts below detection are put on the
// line through the detected ones in the probability plot.
type ROS struct {
	Intercept, Slope float64   // of ln(mg/m³) on the normal quantile of the plotting position
	Completed        []float64 // the values, those below detection as estimated, mg/m³
}

// FitROS fits ln x = Intercept + Slope·Φ⁻¹(position) to the detected values by
// least squares. It needs three of them, not all the same. Source: Helsel and Cohn
// 1988, Water Resour. Res. 24:1997 (positions: PlottingPositions).
func FitROS(values []Value) (ROS, error) {
	position := PlottingPositions(values)
	var z, y []float64
	for i, v := range values {
		if !v.Below {
			z, y = append(z, normalQuantile(position[i])), append(y, math.Log(v.MgM3))
		}
	}
	if len(y) < fewestForSpread {
		return ROS{}, fmt.Errorf("of the detected shifts: %w", TooFewError{Have: len(y), Need: fewestForSpread})
	}
	if !(slices.Max(y)-slices.Min(y) > noSpread) {
		return ROS{}, ErrNoSpread
	}
	r := ROS{Completed: make([]float64, len(values))}
	r.Intercept, r.Slope = stat.LinearRegression(z, y, nil, false)
	for i, v := range values {
		r.Completed[i] = v.MgM3
		if v.Below {
			r.Completed[i] = math.Exp(r.Intercept + r.Slope*normalQuantile(position[i]))
		}
	}
	return r, nil
}

// Mean and standard deviation (divisor n−1) of the completed values, mg/m³.
func (r ROS) Mean() (mean, sd float64) { return stat.MeanStdDev(r.Completed, nil) }

// Median of the completed values, mg/m³.
func (r ROS) Median() float64 {
	x := slices.Sorted(slices.Values(r.Completed))
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

// Lognormal is ȳ and s of the completed values.
func (r ROS) Lognormal() Lognormal {
	fit, _ := FitLognormal(r.Completed) // above zero by construction
	return fit
}
