package stats

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// RankSumP is the two-sided probability of the rank-sum statistic: exact for
// untied samples of up to 100 values each; exact and conditional on the ties
// (all arrangements of the midranks, counted by the shift algorithm of
// Streitberg & Röhmel, EDV in Medizin und Biologie 18, 12-19, 1987) up to 50;
// normal, corrected for ties and continuity, beyond. Two-sided means sums at
// least as far from their mean as the one seen. 1 where a sample is empty or
// not finite.
func RankSumP(x, y []float64) float64 {
	m, n := len(x), len(y)
	if m == 0 || n == 0 || !finite(x...) || !finite(y...) {
		return 1
	}
	ranks, own, ties := doubledRanks(x, y)
	u := float64(own)/2 - float64(m*(m+1))/2
	switch {
	case ties == 0 && max(m, n) <= exactLimit:
		cum := rankSumCounts(m, n)
		near := min(u, float64(m*n)-u)
		return math.Min(1, 2*cum[int(near)]/cum[m*n])
	case ties > 0 && max(m, n) <= tiedLimit:
		return permutationP(ranks, m, own)
	}
	mean, sd := rankSumMoments(m, n)
	all := float64(m + n)
	sd *= math.Sqrt(1 - ties/(all*all*all-all))
	if sd == 0 {
		return 1
	}
	return math.Min(1, 2*distuv.UnitNormal.Survival(math.Max(0, math.Abs(u-mean)-0.5)/sd))
}

// doubledRanks gives twice the midrank of every value, the sum of x's, and
// the sum of t^3 - t over the groups of t tied values.
func doubledRanks(x, y []float64) (ranks []int, own int, ties float64) {
	all := slices.Concat(x, y)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(all[a], all[b]) })
	ranks = make([]int, len(all))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && all[order[j]] == all[order[i]] {
			j++
		}
		for _, at := range order[i:j] {
			ranks[at] = i + 1 + j
		}
		t := float64(j - i)
		ties += t*t*t - t
		i = j
	}
	for _, r := range ranks[:len(x)] {
		own += r
	}
	return ranks, own, ties
}

// permutationP counts, over all choices of m ranks, the sums at least as far
// from their mean as own.
func permutationP(ranks []int, m, own int) float64 {
	total := 0
	for _, r := range ranks {
		total += r
	}
	ways := make([][]float64, m+1)
	for j := range ways {
		ways[j] = make([]float64, total+1)
	}
	ways[0][0] = 1
	reached := 0
	for i, r := range ranks {
		reached += r
		for j := min(m, i+1); j >= 1; j-- {
			for s := reached; s >= r; s-- {
				ways[j][s] += ways[j-1][s-r]
			}
		}
	}
	mean := float64(total) * float64(m) / float64(len(ranks))
	far, all := 0.0, 0.0
	for s, w := range ways[m] {
		all += w
		if math.Abs(float64(s)-mean) >= math.Abs(float64(own)-mean)-1e-9 {
			far += w
		}
	}
	return math.Min(1, far/all)
}
