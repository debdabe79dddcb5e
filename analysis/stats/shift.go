package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Shift is how much y lies above x.
type Shift struct {
	Estimate float64   `json:"estimate"` // median of all differences y-x; NaN without values
	Interval *Interval `json:"interval"` // nil when either sample has fewer than three values
	P        float64   `json:"p"`        // two-sided probability of a shift this large by chance
	NX       int       `json:"n_x"`
	NY       int       `json:"n_y"`
}

// exactLimit bounds the enumeration of tied samples and the exact recursion.
const exactLimit = 100

// HodgesLehmann compares two samples: the median of all pairwise differences
// (Hodges & Lehmann, Annals of Mathematical Statistics 34, 598-611, 1963), the
// interval of the sorted differences that the exact rank-sum distribution
// gives for at least 95 % (all of them, with their true coverage, where the
// samples are too small for that), and the two-sided rank-sum p.
func HodgesLehmann(x, y []float64) Shift {
	s := Shift{Estimate: math.NaN(), P: 1, NX: len(x), NY: len(y)}
	if len(x) == 0 || len(y) == 0 {
		return s
	}
	diffs := make([]float64, 0, len(x)*len(y))
	for _, a := range x {
		for _, b := range y {
			diffs = append(diffs, b-a)
		}
	}
	slices.Sort(diffs)
	s.Estimate = Median(diffs)
	s.P = RankSumP(x, y)
	if len(x) >= 3 && len(y) >= 3 {
		k, coverage := shiftRank(len(x), len(y), Nominal)
		s.Interval = &Interval{diffs[k-1], diffs[len(diffs)-k], coverage}
	}
	return s
}

// shiftRank is the largest k for which [D(k), D(mn+1-k)] covers at least
// coverage; 1 where none does. It also gives the true coverage.
func shiftRank(m, n int, coverage float64) (int, float64) {
	if m > exactLimit || n > exactLimit {
		return normalRank(m, n, coverage)
	}
	cum := rankSumCounts(m, n)
	total := cum[len(cum)-1]
	k := 1
	for k < len(cum) && 1-2*cum[k]/total >= coverage {
		k++
	}
	return k, 1 - 2*cum[k-1]/total
}

func normalRank(m, n int, coverage float64) (int, float64) {
	mean, sd := rankSumMoments(m, n)
	z := distuv.UnitNormal.Quantile((1 + coverage) / 2)
	return max(1, int(mean-z*sd)), coverage
}

func rankSumMoments(m, n int) (mean, sd float64) {
	a, b := float64(m), float64(n)
	return a * b / 2, math.Sqrt(a * b * (a + b + 1) / 12)
}

// rankSumCounts is, for each u, how many arrangements of m and n untied
// values have a Mann-Whitney U of at most u (Mann & Whitney, Annals of
// Mathematical Statistics 18, 50-60, 1947), as coefficients of the Gaussian
// binomial.
func rankSumCounts(m, n int) []float64 {
	counts := make([]float64, m*n+1)
	counts[0] = 1
	for j := 1; j <= m; j++ {
		for u := len(counts) - 1; u >= n+j; u-- {
			counts[u] -= counts[u-n-j]
		}
		for u := j; u < len(counts); u++ {
			counts[u] += counts[u-j]
		}
	}
	for u := 1; u < len(counts); u++ {
		counts[u] += counts[u-1]
	}
	return counts
}

// RankSumP is the exact two-sided probability of the rank-sum statistic,
// conditional on ties where there are any (Streitberg & Röhmel's shift
// algorithm over doubled midranks); the normal approximation beyond 100
// values in either sample.
func RankSumP(x, y []float64) float64 {
	m, n := len(x), len(y)
	if m == 0 || n == 0 {
		return 1
	}
	ranks, own := doubledRanks(x, y)
	if m > exactLimit || n > exactLimit {
		mean, sd := rankSumMoments(m, n)
		u := float64(own)/2 - float64(m*(m+1))/2
		return math.Min(1, 2*distuv.UnitNormal.Survival(math.Max(0, math.Abs(u-mean)-0.5)/sd))
	}
	return permutationP(ranks, m, own)
}

// doubledRanks gives twice the midrank of every value, and the sum of x's.
func doubledRanks(x, y []float64) (ranks []int, own int) {
	all := slices.Concat(x, y)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case all[a] < all[b]:
			return -1
		case all[a] > all[b]:
			return 1
		}
		return a - b
	})
	ranks = make([]int, len(all))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && all[order[j]] == all[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			ranks[order[k]] = i + 1 + j
		}
		i = j
	}
	for i := range x {
		own += ranks[i]
	}
	return ranks, own
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
	for i, r := range ranks {
		for j := min(m, i+1); j >= 1; j-- {
			for s := total; s >= r; s-- {
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
