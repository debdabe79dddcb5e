package stats

import (
	"math"
	"slices"
)

// BenjaminiHochberg adjusts p values for being asked together (Benjamini &
// Hochberg, Journal of the Royal Statistical Society B 57, 289-300, 1995): at
// most a share q of those whose adjusted p is at most q are false.
func BenjaminiHochberg(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] > p[b]:
			return -1
		case p[a] < p[b]:
			return 1
		}
		return 0
	})
	out := make([]float64, len(p))
	least := 1.0
	for i, at := range order {
		rank := float64(len(p) - i)
		least = math.Min(least, p[at]*float64(len(p))/rank)
		out[at] = least
	}
	return out
}
