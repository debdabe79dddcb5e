package stats

import (
	"math"
	"slices"
)

// Balance is, for each group, its median less the mean of all groups'
// medians, with an interval that counts the scatter of every group.
//
// The interval states what that of the smallest group's median does: 95 % from
// six values on, 1-2^(1-n) below. Every group's half-widths are taken at that
// coverage; the group's own weigh 1-1/k, each other's 1/k, and they add in
// squares, upper and lower apart so that skewed groups stay skewed. A group of
// fewer than three values leaves all without interval.
func Balance(groups [][]float64) []Estimate {
	out := make([]Estimate, len(groups))
	centre, fewest := 0.0, math.MaxInt
	for i, g := range groups {
		out[i] = Estimate{Median: Summarize(g).Median, N: len(g)}
		centre += out[i].Median / float64(len(groups))
		fewest = min(fewest, len(g))
	}
	for i := range out {
		out[i].Median -= centre
	}
	if len(groups) < 2 || fewest < 3 || !finite(centre) {
		return out
	}
	coverage := medianCoverage(fewest)
	halves := make([]halfWidths, len(groups))
	for i, g := range groups {
		halves[i] = halvesAt(g, coverage)
	}
	for i := range out {
		low, high := balanceHalves(halves, i)
		out[i].Interval = &Interval{out[i].Median - low, out[i].Median + high, coverage}
	}
	return out
}

// halfWidths are how far the interval of a median of n values reaches.
type halfWidths struct {
	down, up float64
	n        int
}

func halvesAt(values []float64, coverage float64) halfWidths {
	sorted := slices.Sorted(slices.Values(values))
	middle, i := Median(sorted), interpolated(sorted, coverage)
	return halfWidths{middle - i.Low, i.High - middle, len(values)}
}

// square is that of the whole width.
func (h halfWidths) square() float64 { return (h.down + h.up) * (h.down + h.up) }

// balanceHalves are the lower and upper half-width about the balance of part
// i. What lies above another group's median lowers the balance.
func balanceHalves(of []halfWidths, i int) (low, high float64) {
	k := float64(len(of))
	part := math.Sqrt(counted(of[i].n, othersShare(of, i))) / k
	low, high = of[i].down*(k-1)/k, of[i].up*(k-1)/k
	for j, h := range of {
		if j != i {
			low, high = math.Hypot(low, part*h.up), math.Hypot(high, part*h.down)
		}
	}
	return low, high
}

// othersShare is the part of the balance's variance that the other groups
// make. A group's own scatter, known from few values, is taken as the
// geometric mean of what it and what all groups show.
func othersShare(of []halfWidths, i int) float64 {
	k := float64(len(of))
	typical, others := 0.0, 0.0
	for j, h := range of {
		typical += h.square() / k
		if j != i {
			others += h.square()
		}
	}
	own := (k - 1) * (k - 1) * math.Sqrt(of[i].square()*typical)
	if others == 0 {
		return 0
	}
	return others / (others + own)
}

// counted is how much of the others' squares goes into the balance of a group
// of n values. It is less than all: the group's own interval misses mostly
// where few values lie close by luck, and there the others' widths make up for
// it. Found by simulation of 2 to 12 groups of 3 to 20 normal, log-normal,
// exponential, Laplace and uniform values and decibels of exponential ones,
// sizes and spreads alike or not.
func counted(n int, othersShare float64) float64 {
	return math.Min(1, 0.75-1.15/math.Sqrt(float64(n))+0.55*othersShare*othersShare)
}
