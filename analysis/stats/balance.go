package stats

import "math"

// Balance is, for each group, its median less the mean of all groups'
// medians, with an interval at 95 % that counts the scatter of every group.
//
// The group's own half-width weighs 1-1/k, each other's 1/k; independent
// half-widths add in squares, upper and lower apart so that skewed groups stay
// skewed. Added so, distribution-free half-widths cover more than any one of
// them, so each is first scaled by halfScale. A group of fewer than three
// values leaves all without interval.
func Balance(groups [][]float64) []Estimate { return BalanceGrouped(single(groups), Spread{}) }

// BalanceGrouped is Balance of sets of groups: a set that comes as one group
// has the assumed or estimated spread added to its half-width, one of several
// its centre and Student's interval.
func BalanceGrouped(sets [][][]float64, spread Spread) []Estimate {
	k := float64(len(sets))
	own := make([]Estimate, len(sets))
	all, known := 0.0, true
	for i, set := range sets {
		own[i] = part(set, spread)
		all += own[i].Median / k
		known = known && own[i].Interval != nil
	}
	out := make([]Estimate, len(sets))
	for i, e := range own {
		out[i] = Estimate{Median: e.Median - all, N: e.N}
		if known && len(sets) > 1 {
			low, high := balanceHalves(own, i)
			out[i].Interval = &Interval{out[i].Median - low, out[i].Median + high, Nominal}
		}
	}
	return out
}

// part is a set's estimate with half-widths fit to be added in squares.
func part(set [][]float64, spread Spread) Estimate {
	set = filled(set)
	if len(set) > 1 {
		return SummarizeGrouped(set, spread)
	}
	if len(set) == 0 {
		return Summarize(nil)
	}
	e := Summarize(set[0])
	if e.Interval != nil {
		f := halfScale(e.N)
		e.Interval = &Interval{
			e.Median - f*(e.Median-e.Interval.Low), e.Median + f*(e.Interval.High-e.Median), Nominal,
		}
		extra := spread.SD * quantile(Nominal, float64(spread.DF))
		e.Interval.Low, e.Interval.High = e.Median-math.Hypot(e.Median-e.Interval.Low, extra), e.Median+math.Hypot(e.Interval.High-e.Median, extra)
	}
	return e
}

// halfScale turns Summarize's half-width of n values into one whose sums in
// squares cover 95 %: found by simulation of 2, 4 and 6 groups of normal,
// log-normal, exponential, Laplace and uniform values, all of which want the
// same within some 5 % (15 % for three values).
func halfScale(n int) float64 {
	switch n {
	case 3:
		return 1.65
	case 4:
		return 1.12
	}
	return 1 - 0.37/math.Sqrt(float64(n))
}

// balanceHalves are the lower and upper half-width about the balance of part i.
func balanceHalves(own []Estimate, i int) (low, high float64) {
	k := float64(len(own))
	for j, e := range own {
		down, up := e.Median-e.Interval.Low, e.Interval.High-e.Median
		weight := 1 / k
		if j == i {
			weight = 1 - 1/k
		} else {
			down, up = up, down
		}
		low = math.Hypot(low, weight*down)
		high = math.Hypot(high, weight*up)
	}
	return low, high
}

func single(groups [][]float64) [][][]float64 {
	sets := make([][][]float64, len(groups))
	for i, g := range groups {
		sets[i] = [][]float64{g}
	}
	return sets
}
