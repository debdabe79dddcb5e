package stats

import (
	"math"
)

// Spread is how far groups of values differ that were meant to be the same:
// values of one group share what changes only from group to group.
type Spread struct {
	SD float64 `json:"sd"` // standard deviation of the groups' true centres
	DF int     `json:"df"` // degrees of freedom behind it; 0: assumed, not estimated

	centres float64 // variance of the groups' medians, DF degrees of freedom
	within  float64 // part of it that the scatter inside the groups explains
}

// GroupSpread estimates the spread from all sets of groups; a set holds the
// groups that measure one thing, so only sets of two and more count. Without
// any the spread is assumedSD, with no degrees of freedom.
func GroupSpread(assumedSD float64, sets ...[][]float64) Spread {
	squares, within, groups, df := 0.0, 0.0, 0, 0
	for _, set := range sets {
		set = filled(set)
		if len(set) < 2 {
			continue
		}
		centre, noise := mean(medians(set)), scatter(set)
		for _, g := range set {
			d := Median(g) - centre
			squares += d * d
			within += noise * medianVariance(len(g))
			groups++
		}
		df += len(set) - 1
	}
	if df == 0 {
		return Spread{SD: assumedSD}
	}
	s := Spread{DF: df, centres: squares / float64(df), within: within / float64(groups)}
	s.SD = math.Sqrt(math.Max(0, s.centres-s.within))
	return s
}

// varianceOf is the variance of one group's median about the common centre:
// measured over all groups, corrected for what this group's own size and
// scatter explain.
func (s Spread) varianceOf(n int, scatter float64) float64 {
	own := scatter * medianVariance(n)
	if s.DF == 0 {
		return s.SD*s.SD + own
	}
	return math.Max(s.centres+own-s.within, math.Max(s.SD*s.SD, own))
}

// centreVariance is the variance of the mean of a set's medians.
func (s Spread) centreVariance(set [][]float64) float64 {
	k := float64(len(set))
	noise, sum := scatter(set), 0.0
	for _, g := range set {
		sum += s.varianceOf(len(g), noise)
	}
	return sum / (k * k)
}

// scatter is the pooled variance inside the groups; 0 where each has one value.
func scatter(set [][]float64) float64 {
	sum, df := 0.0, 0
	for _, g := range set {
		if len(g) > 1 {
			sd := Describe(g).SD
			sum += sd * sd * float64(len(g)-1)
			df += len(g) - 1
		}
	}
	if df == 0 {
		return 0
	}
	return sum / float64(df)
}

// medianVariance is the variance of the median of n normal values of variance
// 1: pi/2n for many, within 2 % of the exact order-statistic integral for few.
func medianVariance(n int) float64 {
	if n%2 == 0 {
		return math.Pi / 2 / (float64(n) + 1.3)
	}
	return math.Pi / 2 / (float64(n) + 0.5)
}

// filled leaves out empty groups.
func filled(set [][]float64) [][]float64 {
	var out [][]float64
	for _, g := range set {
		if len(g) > 0 {
			out = append(out, g)
		}
	}
	return out
}

func medians(set [][]float64) []float64 {
	out := make([]float64, len(set))
	for i, g := range set {
		out[i] = Median(g)
	}
	return out
}

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}
