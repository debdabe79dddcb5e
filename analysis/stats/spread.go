package stats

import "math"

// Spread is how far groups of values differ that were meant to be the same:
// values of one group share what changes only from group to group.
type Spread struct {
	SD float64 `json:"sd"` // standard deviation of the groups' true centres
	DF int     `json:"df"` // degrees of freedom behind it; 0: assumed, not estimated

	centres float64 // variance of the groups' medians, DF degrees of freedom
	within  float64 // part of it that the scatter inside the groups explains
	scatter float64 // variance inside the groups, over all sets
}

// GroupSpread estimates the spread from all sets of groups; a set holds the
// groups that measure one thing, so only sets of two and more count. Without
// any the spread is assumedSD, with no degrees of freedom.
func GroupSpread(assumedSD float64, sets ...[][]float64) Spread {
	var used [][]float64
	squares, shares, df := 0.0, 0.0, 0
	for _, set := range sets {
		set = filled(set)
		if len(set) < 2 {
			continue
		}
		centre := mean(medians(set))
		for _, g := range set {
			d := Median(g) - centre
			squares += d * d
			shares += medianVariance(len(g))
		}
		used = append(used, set...)
		df += len(set) - 1
	}
	if df == 0 {
		return Spread{SD: assumedSD}
	}
	s := Spread{DF: df, centres: squares / float64(df), scatter: Scatter(used)}
	s.within = s.scatter * shares / float64(len(used))
	s.SD = math.Sqrt(math.Max(0, s.centres-s.within))
	return s
}

// centreVariance is the variance of the mean of a set's medians: of each
// group's as measured over all groups, corrected for its size. It has no
// floor, so that Student's interval keeps its coverage also where groups agree
// by luck.
func (s Spread) centreVariance(set [][]float64) float64 {
	inside, sum := s.scatter, 0.0
	if s.DF == 0 {
		inside = Scatter(set)
	}
	for _, g := range set {
		own := inside * medianVariance(len(g))
		switch {
		case s.DF == 0 || s.SD > 0:
			sum += s.SD*s.SD + own
		case s.within > 0:
			sum += s.centres * own / s.within
		default:
			sum += s.centres
		}
	}
	k := float64(len(set))
	return sum / (k * k)
}

// Scatter is the pooled variance inside the groups; 0 where each has one value.
func Scatter(set [][]float64) float64 {
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
