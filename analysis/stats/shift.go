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

// Up to exactLimit values in either sample the distribution is exact, with
// ties up to tiedLimit; the normal approximation beyond.
const (
	exactLimit = 100
	tiedLimit  = 50
)

// HodgesLehmann compares two samples: the median of all pairwise differences
// (Hodges & Lehmann, Annals of Mathematical Statistics 34, 598-611, 1963), the
// interval of the sorted differences that the exact rank-sum distribution
// gives for at least 95 % (all of them, with their true coverage, where the
// samples are too small for that), and the two-sided rank-sum p. Values that
// are not finite leave no estimate (NaN), no interval and p = 1.
func HodgesLehmann(x, y []float64) Shift {
	s := Shift{Estimate: math.NaN(), P: 1, NX: len(x), NY: len(y)}
	if len(x) == 0 || len(y) == 0 || !finite(x...) || !finite(y...) {
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
