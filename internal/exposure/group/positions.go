package group

import (
	"cmp"
	"slices"
)

// order lists the indices of values from the lowest; at the same level a shift
// below detection comes first.
func order(values []Value) []int {
	index := make([]int, len(values))
	for i := range index {
		index[i] = i
	}
	slices.SortStableFunc(index, func(a, b int) int {
		if c := cmp.Compare(values[a].MgM3, values[b].MgM3); c != 0 || values[a].Below == values[b].Below {
			return c
		}
		if values[a].Below {
			return -1
		}
		return 1
	})
	return index
}

// PlottingPositions gives each value the share of shifts taken to lie below it.
// Between two detection limits c_j and c_j+1, with A_j detected values in
// [c_j, c_j+1) and B_j values known to lie below c_j:
//
//	Pe_j = Pe_j+1 + A_j/(A_j+B_j)·(1−Pe_j+1)            share at or above c_j
//	detected, rank r of A_j:  (1−Pe_j) + (Pe_j−Pe_j+1)·r/(A_j+1)
//	below c_j, rank r of C_j: (1−Pe_j)·r/(C_j+1)
//
// Without detection limits that is r/(n+1). Source: Hirsch and Stedinger 1987,
// Water Resour. Res. 23:715; Helsel and Cohn 1988, ibid. 24:1997.
func PlottingPositions(values []Value) []float64 {
	limits := []float64{}
	for _, v := range values {
		if v.Below {
			limits = append(limits, v.MgM3)
		}
	}
	slices.Sort(limits)
	limits = slices.Compact(limits)
	// Interval 0 lies below the lowest limit, interval j from limit j−1 up.
	intervalOf := func(x float64) int {
		j, found := slices.BinarySearch(limits, x)
		if found {
			j++
		}
		return j
	}
	above := make([]float64, len(limits)+2) // above[j]: share at or above the begin of interval j
	above[0] = 1
	detected, censored := make([]int, len(limits)+1), make([]int, len(limits)+1)
	for _, v := range values {
		if v.Below {
			censored[intervalOf(v.MgM3)]++
		} else {
			detected[intervalOf(v.MgM3)]++
		}
	}
	for j := len(limits); j > 0; j-- {
		below := 0
		for k := range j {
			below += detected[k] + censored[k]
		}
		below += censored[j]
		above[j] = above[j+1] + float64(detected[j])/float64(detected[j]+below)*(1-above[j+1])
	}
	position := make([]float64, len(values))
	rank := map[bool][]int{false: make([]int, len(detected)), true: make([]int, len(detected))}
	for _, i := range order(values) {
		v := values[i]
		j := intervalOf(v.MgM3)
		rank[v.Below][j]++
		r := float64(rank[v.Below][j])
		if v.Below {
			position[i] = (1 - above[j]) * r / float64(censored[j]+1)
		} else {
			position[i] = (1 - above[j]) + (above[j]-above[j+1])*r/float64(detected[j]+1)
		}
	}
	return position
}
