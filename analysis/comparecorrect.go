package analysis

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// beyondUse is how many times the size that matters the smallest visible
// change may be before the answer is that the data cannot tell.
const beyondUse = 6

// chance is the corrected p up to which a change is told. One in twenty may be
// false; a twenty-fifth leaves room for intervals of few values, which are up
// to a point off what they state.
const chance = 0.04

// familyOf is what a measure is corrected with: all hum lines are one question.
func familyOf(test, measure string) [2]string {
	if strings.HasPrefix(measure, humLine) {
		measure = humLine
	}
	return [2]string{test, measure}
}

// correct adjusts the p values twice and gives each change its verdict. A
// family is one measure over all strings: one question, asked of each; at most
// one family in twenty says a false word, whatever else changed in it (Holm).
// What survives is beyond chance among all questions of the comparison, too
// (Benjamini-Hochberg). What this data could never have answered is not asked.
func correct(c *result.Comparison) {
	families := map[[2]string][]int{}
	var asked []int
	for i, ch := range c.Changes {
		c.Changes[i].Verdict = result.CannotTell
		if ch.Interval != nil && ch.Smallest != nil {
			key := familyOf(ch.Test, ch.Measure)
			families[key] = append(families[key], i)
			asked = append(asked, i)
		}
	}
	p := func(at []int) []float64 {
		out := make([]float64, len(at))
		for k, i := range at {
			out[k] = c.Changes[i].P
		}
		return out
	}
	for _, family := range families {
		for k, q := range holm(p(family)) {
			c.Changes[family[k]].AdjustedP = q
		}
	}
	for k, q := range stats.BenjaminiHochberg(p(asked)) {
		judgeChange(&c.Changes[asked[k]], q)
	}
	c.Questions = len(asked)
}

func judgeChange(c *result.Change, whole float64) {
	c.WholeP = whole
	switch {
	case c.AdjustedP <= chance && *c.Shift > 0:
		c.Verdict = result.Rose
	case c.AdjustedP <= chance:
		c.Verdict = result.Fell
	case *c.Smallest <= beyondUse*c.Size:
		c.Verdict = result.NoChangeSeen
	}
	c.Survives = c.AdjustedP <= chance && whole <= chance
}

// correctCommon tells which shared shifts are beyond chance among all questions.
func correctCommon(c *result.Comparison) {
	var p []float64
	for _, s := range c.Common {
		p = append(p, s.P)
	}
	for _, ch := range c.Changes {
		if ch.Interval != nil && ch.Smallest != nil {
			p = append(p, ch.P)
		}
	}
	q := stats.BenjaminiHochberg(p)
	for i := range c.Common {
		s := &c.Common[i]
		s.WholeP, s.Survives = q[i], s.Real && q[i] <= chance
	}
}

// holm adjusts p values so that any false one among those of at most q has a
// chance of at most q, however many of the others are true and however they
// hang together (Holm, Scandinavian Journal of Statistics 6, 65-70, 1979).
func holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	out, most := make([]float64, len(p)), 0.0
	for rank, at := range order {
		most = math.Max(most, math.Min(1, p[at]*float64(len(p)-rank)))
		out[at] = most
	}
	return out
}
