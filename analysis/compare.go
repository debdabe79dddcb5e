package analysis

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// Compare says what changed from one stage to another, and what the data
// cannot tell. Taps of one take share one hand, so the spread between takes
// goes into every interval: estimated where a stage holds several takes of
// one test and string, the stated default where not. Each measure is
// asked of every string; such a family is corrected for (Benjamini-Hochberg).
func Compare(before, after *result.Results, tool string) *result.Comparison {
	c := &result.Comparison{
		SchemaVersion: result.SchemaVersion, Tool: tool, Build: after.Stage.Build,
		Before: sideOf(before), After: sideOf(after),
		Common: []result.CommonShift{}, Warnings: comparability(before, after), Facts: factChanges(before, after),
		Changes: []result.Change{}, Response: bandChanges(before, after),
	}
	pairs := pairRows(before, after)
	for _, p := range pairs {
		c.Changes = append(c.Changes, p.compare(spreadOf(pairs, p, after)))
	}
	correct(c.Changes)
	c.Common = commonShifts(c.Changes)
	c.Gain = gainMove(before, after, c)
	explainCommon(c)
	c.Sentence = comparisonSentence(c)
	return c
}

func sideOf(r *result.Results) result.ComparedStage {
	return result.ComparedStage{
		Name: r.Stage.Name, Folder: r.Stage.Folder, Date: r.Stage.Date, NextStep: r.Stage.NextStep, Verdict: r.Verdict.Word,
	}
}

// asked lists the measures that are compared, and the size of change worth
// seeing in each. Level and peak say the same; balance does not hang on gain
// or hand.
var asked = map[[2]string]float64{
	{"tap", "level"}: 1, {"tap", "balance"}: 1, {"tap", "response low"}: 1, {"tap", "response high"}: 1,
	{"pluck", "level"}: 1, {"pluck", "balance"}: 1, {"pluck", "fundamental"}: 0.1, {"pluck", "T60"}: 0.5, {"pluck", "late T60"}: 1,
	{"tone", "level"}: 1, {"tone", "balance"}: 1, {"tone", "THD"}: 3,
	{"quiet", "floor A-weighted"}: 1, {"quiet", "floor without hum"}: 1, {"quiet", "hum"}: 1, {"quiet with hand", "hum"}: 1,
}

// pair is one measure of one string on both sides.
type pair struct {
	before, after result.Row
	size          float64
}

func pairRows(before, after *result.Results) []pair {
	type key struct {
		str           int
		test, measure string
	}
	old := map[key]result.Row{}
	for _, row := range compared(before) {
		old[key{row.String, row.Test, row.Measure}] = row
	}
	var out []pair
	for _, row := range compared(after) {
		b, ok := old[key{row.String, row.Test, row.Measure}]
		if ok && b.Quantity.Known() && row.Quantity.Known() {
			out = append(out, pair{b, row, asked[[2]string{row.Test, row.Measure}]})
		}
	}
	return out
}

// compared lists the rows that are asked about. Balances get the values of
// their events: each level less the mean of all strings' medians.
func compared(r *result.Results) []result.Row {
	var out []result.Row
	mean := map[string]float64{}
	for _, test := range []string{"tap", "pluck", "tone"} {
		mean[test] = meanOfMedians(r, test)
	}
	levels := map[[2]any]result.Quantity{}
	for _, row := range r.Rows() {
		if row.Measure == "level" {
			levels[[2]any{row.String, row.Test}] = row.Quantity
		}
		if _, ok := asked[[2]string{row.Test, row.Measure}]; !ok {
			continue
		}
		if row.Measure == "balance" {
			m := mean[row.Test]
			row.Quantity.Values = mapped(levels[[2]any{row.String, row.Test}], func(v float64) float64 { return v - m }).Values
		}
		out = append(out, row)
	}
	for _, q := range r.Quiet {
		if q.Hum != nil {
			est := stats.Estimate{Median: q.Hum.TotalDBFS, N: 1}
			if iv := q.FloorDBFS.Estimate; iv != nil && iv.Interval != nil {
				half := math.Max(0.3, (iv.Interval.High-iv.Interval.Low)/2)
				est.Interval = &stats.Interval{Low: est.Median - half, High: est.Median + half, Coverage: iv.Interval.Coverage}
			}
			out = append(out, result.Row{Test: q.Label, Measure: "hum", Unit: "dBFS", Quantity: result.Quantity{Estimate: &est}})
		}
	}
	return out
}

func meanOfMedians(r *result.Results, test string) float64 {
	sum, n := 0.0, 0.0
	for _, row := range r.Rows() {
		if row.Test == test && row.Measure == "level" && row.Quantity.Known() {
			sum += row.Quantity.Estimate.Median
			n++
		}
	}
	return sum / n
}

// groups splits a quantity's values by take.
func groups(q result.Quantity) [][]float64 {
	var order []int
	byTake := map[int][]float64{}
	for _, v := range q.Values {
		if byTake[v.Take] == nil {
			order = append(order, v.Take)
		}
		byTake[v.Take] = append(byTake[v.Take], v.Value)
	}
	var out [][]float64
	for _, k := range order {
		out = append(out, byTake[k])
	}
	return out
}

// spreadOf is the spread between takes of p's measure, over all strings and
// both sides. Only levels have a default: pitch and sustain do not hang on
// the hand.
func spreadOf(pairs []pair, p pair, after *result.Results) stats.Spread {
	var sets [][][]float64
	for _, o := range pairs {
		if o.after.Test == p.after.Test && o.after.Measure == p.after.Measure {
			sets = append(sets, groups(o.before.Quantity), groups(o.after.Quantity))
		}
	}
	assumed := 0.0
	if p.after.Unit == "dBFS" || p.after.Unit == "dB" {
		assumed, _ = after.Stage.LimitValue("take_spread_db")
	}
	return stats.GroupSpread(assumed, sets...)
}

// power is the chance with which the smallest change would have been seen.
const power = 0.8

func (p pair) compare(spread stats.Spread) result.Change {
	b, a := p.before.Quantity, p.after.Quantity
	c := result.Change{
		String: p.after.String, Note: p.after.Note, Test: p.after.Test, Measure: p.after.Measure, Unit: p.after.Unit,
		Before: b.Estimate, After: a.Estimate, P: 1, AdjustedP: 1, Size: p.size,
	}
	gb, ga := groups(b), groups(a)
	c.Takes = [2]int{len(gb), len(ga)}
	if len(gb) == 0 || len(ga) == 0 {
		compareEstimates(&c)
		return c
	}
	c.Assumed = spread.DF == 0 && spread.SD > 0
	s := stats.ShiftGrouped(gb, ga, spread)
	if math.IsNaN(s.Estimate) {
		c.Verdict, c.Reason = result.CannotTell, "no value on one side"
		return c
	}
	c.Shift, c.Interval, c.P = &s.Estimate, s.Interval, s.P
	if v := stats.SmallestShiftGrouped(gb, ga, spread, power); !math.IsInf(v, 0) && !math.IsNaN(v) {
		c.Smallest = &v
	}
	if sd := scatterOf(gb, ga); sd > 0 && p.size > 0 {
		if more, ok := stats.MoreForShift(s.NX, s.NY, p.size, sd, power); ok && more > 0 {
			c.More = &more
		}
	}
	if c.Interval == nil {
		c.Reason = fmt.Sprintf("%d against %d events are too few", s.NX, s.NY)
	}
	return c
}

// scatterOf is the standard deviation inside the takes.
func scatterOf(sets ...[][]float64) float64 {
	sum, df := 0.0, 0
	for _, set := range sets {
		for _, g := range set {
			if len(g) > 1 {
				sd := stats.Describe(g).SD
				sum += sd * sd * float64(len(g)-1)
				df += len(g) - 1
			}
		}
	}
	if df == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(df))
}

// compareEstimates compares numbers that have intervals and no events behind
// them: the halves add in squares.
func compareEstimates(c *result.Change) {
	shift := c.After.Median - c.Before.Median
	c.Shift = &shift
	if c.Before.Interval == nil || c.After.Interval == nil {
		c.Reason = "no interval on one side"
		return
	}
	half := math.Hypot(halfOf(c.Before), halfOf(c.After))
	c.Interval = &stats.Interval{Low: shift - half, High: shift + half, Coverage: math.Min(c.Before.Interval.Coverage, c.After.Interval.Coverage)}
	if half > 0 {
		c.P = math.Erfc(math.Abs(shift) / half * 1.959964 / math.Sqrt2)
		smallest := half * (1 + 0.8416/1.959964)
		c.Smallest = &smallest
	}
}

func halfOf(e *stats.Estimate) float64 { return (e.Interval.High - e.Interval.Low) / 2 }

// beyondUse is how many times the size that matters the smallest visible
// change may be before the answer is that the data cannot tell.
const beyondUse = 6

// correct adjusts the p values and gives each change its verdict. A family is
// one measure over all strings: one question, asked of each string. What this
// data could never have answered is not part of it.
func correct(changes []result.Change) {
	families := map[[2]string][]int{}
	for i, c := range changes {
		changes[i].Verdict = result.CannotTell
		if c.Interval != nil && c.Smallest != nil {
			key := [2]string{c.Test, c.Measure}
			families[key] = append(families[key], i)
		}
	}
	for _, family := range families {
		p := make([]float64, len(family))
		for k, i := range family {
			p[k] = changes[i].P
		}
		for k, q := range stats.BenjaminiHochberg(p) {
			judgeChange(&changes[family[k]], q)
		}
	}
}

func judgeChange(c *result.Change, q float64) {
	c.AdjustedP = q
	switch {
	case q <= 0.05 && *c.Shift > 0:
		c.Verdict = result.Rose
	case q <= 0.05:
		c.Verdict = result.Fell
	case *c.Smallest <= beyondUse*c.Size:
		c.Verdict = result.NoChangeSeen
	}
}
