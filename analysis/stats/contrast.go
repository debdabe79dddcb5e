package stats

import (
	"math"
	"sort"
)

// Contrast is a weighted sum of the shifts of several sets, with Student's
// interval and p.
type Contrast struct {
	Shift
	SD float64 // standard deviation of the estimate
	DF float64 // degrees of freedom behind it; 0: many

	fixed float64 // part of the variance that more values in a group do not lessen
}

// SetShifts are the shifts of several sets of groups, ready to be weighed
// against each other.
type SetShifts struct {
	terms  []term
	spread Spread
}

// term is one set's shift and what makes it uncertain.
type term struct {
	shift         Shift
	variance      float64
	ownOverDF     float64 // square of each side's own scatter over its degrees of freedom, summed
	betweenGroups float64 // part of variance that is the spread between groups
}

// ShiftSets compares each set x[i] with y[i], as [ShiftGrouped] does.
func ShiftSets(x, y [][][]float64, spread Spread) SetShifts {
	s := SetShifts{spread: spread}
	for i := range min(len(x), len(y)) {
		t := term{shift: ShiftGrouped(x[i], y[i], spread)}
		for _, set := range [][][]float64{filled(x[i]), filled(y[i])} {
			v, own := spread.part(set)
			t.variance += v
			t.ownOverDF += own
			t.betweenGroups += spread.SD * spread.SD / float64(max(1, len(set)))
		}
		s.terms = append(s.terms, t)
	}
	return s
}

// Weighed is the sum of weights[i] times the shift of set i. Sets of one group
// each: Hodges-Lehmann shifts, the scatter of every set joined by Satterthwaite's degrees of
// freedom (Biometrics Bulletin 2, 110-114, 1946), the spread between groups
// added. Several groups: differences of centres, Student's from the spread's
// degrees of freedom. A set of too few values that has weight leaves no
// interval.
func (s SetShifts) Weighed(weights []float64) Contrast {
	c := Contrast{Shift: Shift{P: 1}}
	variance, parts, known := 0.0, 0.0, true
	for i, w := range weights {
		if w == 0 {
			continue
		}
		t := s.terms[i]
		c.Estimate += w * t.shift.Estimate
		c.NX, c.NY = c.NX+t.shift.NX, c.NY+t.shift.NY
		known = known && t.shift.Interval != nil
		variance += w * w * t.variance
		parts += w * w * w * w * t.ownOverDF
		c.fixed += w * w * t.betweenGroups
	}
	switch {
	case s.spread.DF > 0:
		c.DF = float64(s.spread.DF)
	case parts > 0:
		c.DF = variance * variance / parts
	}
	c.SD = math.Sqrt(variance)
	if known && c.SD > 0 {
		c.P = tailsOf(c.Estimate/c.SD, c.DF)
		c.Interval = around(c.Estimate, quantile(Nominal, c.DF)*c.SD)
	}
	return c
}

// Balances are, for each set, its shift less the mean of all sets' shifts.
func (s SetShifts) Balances() []Contrast {
	out := make([]Contrast, len(s.terms))
	k := float64(len(s.terms))
	for i := range out {
		weights := make([]float64, len(s.terms))
		for j := range weights {
			weights[j] = -1 / k
		}
		weights[i]++
		out[i] = s.Weighed(weights)
	}
	return out
}

// part is the variance of a set's centre, and the square of what its own
// scatter gives to it over that scatter's degrees of freedom.
func (s Spread) part(set [][]float64) (variance, ownOverDF float64) {
	if s.DF > 0 || len(set) != 1 || len(set[0]) < 2 {
		return s.centreVariance(set), 0
	}
	n := float64(len(set[0]))
	sd := Describe(set[0]).SD
	inside := shiftLoss(n) * sd * sd / n
	return inside + s.SD*s.SD, inside * inside / (n - 1)
}

// shiftLoss is how much more a Hodges-Lehmann shift of n and n normal values
// varies than a difference of means: pi/3 for many (Hodges & Lehmann 1963), by
// simulation slightly more for few.
func shiftLoss(n float64) float64 { return math.Pi / 3 * (1 + 0.22/n) }

// Smallest is the weighted shift that is seen at 5 % with the wanted chance.
func (c Contrast) Smallest(power float64) float64 {
	if c.Interval == nil {
		return math.Inf(1)
	}
	return c.SD * seenAt(c.DF, power)
}

func seenAt(df, power float64) float64 { return quantile(Nominal, df) + quantile(2*power-1, df) }

// More is how many further values each group of n needs before size is seen
// with the wanted chance; false where a thousand are not enough, because the
// groups differ by more than that.
func (c Contrast) More(n int, size, power float64) (int, bool) {
	if n < 2 {
		return 0, false
	}
	free := c.SD*c.SD - c.fixed
	short := func(more int) bool {
		df := c.DF * float64(n+more-1) / float64(n-1)
		return math.Sqrt(c.fixed+free*float64(n)/float64(n+more))*seenAt(df, power) > size
	}
	more := sort.Search(manyWanted+1, func(more int) bool { return !short(more) })
	return more, more <= manyWanted
}
