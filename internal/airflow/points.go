package airflow

import (
	"fmt"
	"math"
	"slices"

	"dustlog/internal/units"
)

// Rule says where in a cross-section to measure.
type Rule string

// The rules.
const (
	LogLinear      Rule = "log-linear"      // round ducts
	LogTchebycheff Rule = "log-tchebycheff" // round and rectangular ducts
	EqualArea      Rule = "equal-area"      // round ducts
)

// Half of each table; the other half mirrors it. [3966]: log-linear with 6, 8 and 10
// points and log-Tchebycheff by side read in instrument manuals that print them; with
// 4 points, and log-Tchebycheff for round ducts, from memory.
var (
	roundPoints = map[Rule]map[int][]float64{
		LogLinear: {
			4: {0.043, 0.290}, 6: {0.032, 0.135, 0.321}, 8: {0.021, 0.117, 0.184, 0.345},
			10: {0.019, 0.077, 0.153, 0.217, 0.361},
		},
		LogTchebycheff: {
			6: {0.032, 0.137, 0.312}, 8: {0.024, 0.100, 0.194, 0.334}, 10: {0.019, 0.076, 0.155, 0.205, 0.357},
		},
	}
	sidePoints = map[int][]float64{
		5: {0.074, 0.288, 0.5}, 6: {0.061, 0.235, 0.437}, 7: {0.053, 0.203, 0.366, 0.5},
	}
)

// RoundPoints are the distances from the wall along one diameter, as shares of it.
// By the equal-area rule, with n points, the i-th ring's point lies at the radius
// R·√((2i − 1)/n) ([EPA1], table 1-2). The error wraps ErrInput.
func RoundPoints(rule Rule, perDiameter int) ([]float64, error) {
	if rule == EqualArea {
		return equalArea(perDiameter)
	}
	half, ok := roundPoints[rule][perDiameter]
	if !ok {
		return nil, fmt.Errorf("measuring points of a round duct by %q with %d on a diameter %w: there are %q with 4, 6, 8 or 10, %q with 6, 8 or 10, %q with any even number up to 24",
			rule, perDiameter, ErrInput, LogLinear, LogTchebycheff, EqualArea)
	}
	return mirrored(half), nil
}

func equalArea(n int) ([]float64, error) {
	if n < 2 || n%2 != 0 || n > 24 {
		return nil, fmt.Errorf("equal areas with %d points on a diameter %w: give an even number from 2 to 24", n, ErrInput)
	}
	var half []float64
	for i := n / 2; i >= 1; i-- {
		half = append(half, (1-math.Sqrt(float64(2*i-1)/float64(n)))/2)
	}
	return mirrored(half), nil
}

func mirrored(half []float64) []float64 {
	all := slices.Clone(half)
	for _, x := range slices.Backward(half) {
		if x != 0.5 {
			all = append(all, 1-x)
		}
	}
	return all
}

// SidePoints are the distances along one side of a rectangular duct by the
// log-Tchebycheff rule, as shares of it, with 5, 6 or 7 lines. The error wraps ErrInput.
func SidePoints(lines int) ([]float64, error) {
	half, ok := sidePoints[lines]
	if !ok {
		return nil, fmt.Errorf("measuring points with %d lines on a side %w: there are 5, 6 or 7", lines, ErrInput)
	}
	return mirrored(half), nil
}

// SideLines is how many lines a side takes: 5 below 30 in, 6 up to 36 in, else 7
// (read in an instrument manual, after ASHRAE 111).
func SideLines(side units.Length) int {
	switch {
	case side < units.Inches(30):
		return 5
	case side <= units.Inches(36):
		return 6
	}
	return 7
}
