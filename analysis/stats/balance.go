package stats

import "math"

// Balance is, for each group, its median less the mean of all groups'
// medians, with an interval that counts the scatter of every group: the
// group's own half-width weighs 1-1/k, each other's 1/k, and independent
// half-widths add in squares. A group without an interval leaves all without.
func Balance(groups [][]float64) []Estimate {
	k := float64(len(groups))
	own := make([]Estimate, len(groups))
	mean, all := 0.0, true
	for i, g := range groups {
		own[i] = Summarize(g)
		mean += own[i].Median / k
		all = all && own[i].Interval != nil
	}
	out := make([]Estimate, len(groups))
	for i, e := range own {
		out[i] = Estimate{Median: e.Median - mean, N: e.N}
		if all {
			out[i].Interval = balanceInterval(own, i)
			out[i].Interval.Low += out[i].Median
			out[i].Interval.High += out[i].Median
		}
	}
	return out
}

// balanceInterval is the interval about the balance of group i, taken apart
// into its lower and upper halves so that skewed groups stay skewed.
func balanceInterval(own []Estimate, i int) *Interval {
	k := float64(len(own))
	var low, high float64
	coverage := 1.0
	for j, e := range own {
		down, up := e.Median-e.Interval.Low, e.Interval.High-e.Median
		weight := 1 / k
		if j == i {
			weight = 1 - 1/k
		} else {
			down, up = up, down
		}
		low += weight * weight * down * down
		high += weight * weight * up * up
		coverage = math.Min(coverage, e.Interval.Coverage)
	}
	return &Interval{-math.Sqrt(low), math.Sqrt(high), coverage}
}
