package analysis

import (
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// compareBalances compares each string's level beside the mean of all
// strings': the scatter of every string is in every interval.
func (f family) compareBalances(out []result.Change, spread stats.Spread, askMore bool) {
	if len(f) < 2 {
		for i := range out {
			out[i].Reason = "no other string on both sides"
		}
		return
	}
	b, a := f.sets()
	for i, c := range stats.ShiftSets(b, a, spread).Balances() {
		if !setShift(&out[i], c.Shift, spread) {
			continue
		}
		setSmallest(&out[i], c.Smallest(power))
		if !askMore {
			continue
		}
		n := min(least(b), least(a))
		if more, ok := c.More(n, f[i].size, power); ok && more > 0 && c.Interval != nil {
			out[i].More = &more
		}
	}
}

// least is the least number of values in a group.
func least(sets [][][]float64) int {
	n := math.MaxInt
	for _, set := range sets {
		for _, g := range set {
			n = min(n, len(g))
		}
	}
	return n
}

// levelsOf are the levels of one test.
func levelsOf(pairs []pair, test string) family {
	var out family
	for _, p := range pairs {
		if p.after.Test == test && p.after.Measure == "level" && len(p.before.Quantity.Values) > 0 && len(p.after.Quantity.Values) > 0 {
			out = append(out, p)
		}
	}
	return out
}

// standing finds the strings that changed beside the others, and what these
// others share. Every balance hangs on all strings; so the string that stands
// out most is set aside, and the rest asked anew, while at least half are left.
func standing(c *result.Comparison, levels family, assumedDB float64) {
	if len(levels) < 2 {
		return
	}
	b, a := levels.sets()
	shifts := stats.ShiftSets(b, a, levels.spread(assumedDB))
	kept, moved := sortOut(shifts, len(levels), anyBalanceMoved(c, levels[0].after.Test))
	for _, i := range moved {
		against := shifts.Weighed(weightsAgainst(i, kept, len(levels)))
		row := levels[i].after
		c.Alone = append(c.Alone, result.AloneShift{String: row.String, Note: row.Note, Test: row.Test, DB: against.Estimate, Interval: against.Interval})
	}
	if len(kept) == 1 {
		return // of two strings none can be told to have stayed
	}
	common := shifts.Weighed(meanOver(kept, len(levels)))
	if math.IsNaN(common.Estimate) {
		return
	}
	shared := result.CommonShift{Test: levels[0].after.Test, DB: common.Estimate, Interval: common.Interval, P: common.P}
	shared.Real = common.Interval != nil && (common.Interval.Low > 0 || common.Interval.High < 0)
	for _, i := range kept {
		shared.Strings = append(shared.Strings, levels[i].after.String)
		// One string that moved unseen moves the mean; what all share moves each.
		shared.Real = shared.Real && shifts.Weighed(meanOver([]int{i}, len(levels))).Estimate*common.Estimate > 0
	}
	c.Common = append(c.Common, shared)
}

func anyBalanceMoved(c *result.Comparison, test string) bool {
	for _, ch := range c.Changes {
		if ch.Test == test && ch.Measure == "balance" && ch.Survives {
			return true
		}
	}
	return false
}

// sortOut parts n strings into those that kept their balance and those that
// did not.
func sortOut(shifts stats.SetShifts, n int, any bool) (kept, moved []int) {
	for i := range n {
		kept = append(kept, i)
	}
	for any && (len(kept)-1)*2 >= n {
		at := farthest(shifts, kept, n)
		if at < 0 {
			break
		}
		moved = append(moved, kept[at])
		kept = append(kept[:at:at], kept[at+1:]...)
		any = len(kept) > 1
	}
	return kept, moved
}

// farthest is the place in kept of the string farthest from the others, -1
// where none is beyond chance. Of two strings it is the one whose own level
// moved more.
func farthest(shifts stats.SetShifts, kept []int, n int) int {
	var p, moved []float64
	at := 0
	for k, i := range kept {
		p = append(p, shifts.Weighed(weightsAgainst(i, kept, n)).P)
		moved = append(moved, math.Abs(shifts.Weighed(meanOver([]int{i}, n)).Estimate))
		if p[k] < p[at] || len(kept) == 2 && moved[k] > moved[at] {
			at = k
		}
	}
	if p[at]*float64(n) > chance { // Bonferroni: asked again after each that is set aside
		return -1
	}
	return at
}

// weightsAgainst weighs string i against the mean of the others of kept.
func weightsAgainst(i int, kept []int, n int) []float64 {
	var others []int
	for _, j := range kept {
		if j != i {
			others = append(others, j)
		}
	}
	w := meanOver(others, n)
	for j := range w {
		w[j] = -w[j]
	}
	w[i] = 1
	return w
}

func meanOver(of []int, n int) []float64 {
	w := make([]float64, n)
	for _, i := range of {
		w[i] = 1 / float64(len(of))
	}
	return w
}
