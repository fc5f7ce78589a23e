package compare

import "slices"

// Holm adjusts p values for having asked several questions: sorted upwards,
// p(i)·(m−i+1), made monotone and cut at 1. The order of p is kept. Source: Holm
// 1979, Scand. J. Stat. 6:65. It needs no independence. p values lie in [0, 1].
func Holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	adjusted := make([]float64, len(p))
	running := 0.0
	for rank, i := range order {
		running = max(running, min(1, p[i]*float64(len(p)-rank)))
		adjusted[i] = running
	}
	return adjusted
}
