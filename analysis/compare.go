package analysis

import (
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// Compare says what changed from one stage to another, and what the data
// cannot tell. Taps of one take share one hand, so the spread between takes
// goes into every interval: estimated where a stage holds several takes of
// one test and string, the stated default where not. Each measure is
// asked of every string; such a family is corrected for (Holm), and everything
// asked is, too (Benjamini-Hochberg).
func Compare(before, after *result.Results, tool string) *result.Comparison {
	return compareStages(before, after, tool, &effort{more: true})
}

// effort is what a comparison may spend beside the changes themselves.
type effort struct {
	sizes stats.Sizes // remembered from pair to pair
	more  bool        // say how many more events would tell
}

func compareStages(before, after *result.Results, tool string, spend *effort) *result.Comparison {
	c := &result.Comparison{
		SchemaVersion: result.SchemaVersion, Tool: tool, Build: after.Stage.Build,
		Before: sideOf(before), After: sideOf(after),
		Alone: []result.AloneShift{}, Common: []result.CommonShift{}, Warnings: comparability(before, after), Facts: factChanges(before, after),
		TakeSpread: takeSpread(after), Details: []string{}, Changes: []result.Change{}, Response: tapBands(before, after, takeSpread(after).DB), Sweep: sweepBands(before, after, takeSpread(after).DB),
	}
	pairs := pairRows(before, after)
	for _, family := range families(pairs) {
		c.Changes = append(c.Changes, family.compare(c.TakeSpread.DB, spend)...)
	}
	correct(c)
	for _, test := range []string{"tap", "pluck", "tone"} {
		standing(c, levelsOf(pairs, test), c.TakeSpread.DB)
	}
	correctCommon(c)
	c.Gain = gainMove(before, after, c)
	explain(c)
	c.Sentence, c.Details = comparisonWords(c)
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
	{"tap", "level"}: 1, {"tap", "balance"}: 1, {"tap", "signal to noise"}: 1, {"tap", "response low"}: 1, {"tap", "response high"}: 1,
	{"pluck", "level"}: 1, {"pluck", "balance"}: 1, {"pluck", "signal to noise"}: 1, {"pluck", "fundamental"}: 0.1, {"pluck", "T60"}: 0.5, {"pluck", "late T60"}: 1,
	{"tone", "level"}: 1, {"tone", "balance"}: 1, {"tone", "THD"}: 3, {"tone", "THD+N"}: 3,
	{"quiet", "floor A-weighted"}: 1, {"quiet", "floor without hum"}: 1, {"quiet with hand", "floor A-weighted"}: 1, {"quiet with hand", "floor without hum"}: 1,
	{"gaps between events", "floor"}: 1, {"sweep", "low corner"}: 5,
}

// humSizeDB is the change of hum that is worth seeing.
const humSizeDB = 1

func sizeOf(row result.Row) float64 {
	if size, ok := asked[[2]string{row.Test, row.Measure}]; ok {
		return size
	}
	return humSizeDB
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
			out = append(out, pair{b, row, sizeOf(row)})
		}
	}
	return out
}

// compared lists the rows that are asked about. Balances get the values of
// the levels that they rest on.
func compared(r *result.Results) []result.Row {
	var out []result.Row
	levels := map[[2]any]result.Quantity{}
	for _, row := range r.Rows() {
		if row.Measure == "level" {
			levels[[2]any{row.String, row.Test}] = row.Quantity
		}
		if _, ok := asked[[2]string{row.Test, row.Measure}]; !ok {
			continue
		}
		if row.Measure == "balance" {
			row.Quantity.Values = levels[[2]any{row.String, row.Test}].Values
		}
		out = append(out, row)
	}
	return merged(append(out, quietRows(r)...))
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

// family is one measure of all strings: one question, asked of each.
type family []pair

// families are the pairs by measure, in the order of their first.
func families(pairs []pair) []family {
	at := map[[2]string]int{}
	var out []family
	for _, p := range pairs {
		key := familyOf(p.after.Test, p.after.Measure)
		if _, ok := at[key]; !ok {
			at[key] = len(out)
			out = append(out, nil)
		}
		out[at[key]] = append(out[at[key]], p)
	}
	return out
}

// takeSpread is the default spread between takes of one string.
func takeSpread(after *result.Results) result.TakeSpread {
	for _, l := range after.Stage.Limits {
		if l.Key == "take_spread_db" {
			return result.TakeSpread{DB: l.Value, Given: l.Given}
		}
	}
	return result.TakeSpread{}
}

// sets are the values on both sides, by string and take.
func (f family) sets() (before, after [][][]float64) {
	for _, p := range f {
		before, after = append(before, groups(p.before.Quantity)), append(after, groups(p.after.Quantity))
	}
	return before, after
}

// spread is the spread between takes over all strings and both sides. Only
// levels have a default: pitch and sustain do not hang on the hand.
func (f family) spread(assumedDB float64) stats.Spread {
	if unit := f[0].after.Unit; unit != "dBFS" && unit != "dB" {
		assumedDB = 0
	}
	b, a := f.sets()
	return stats.GroupSpread(assumedDB, append(b, a...)...)
}

func (f family) compare(assumedDB float64, spend *effort) []result.Change {
	spread := f.spread(assumedDB)
	out := make([]result.Change, len(f))
	for i, p := range f {
		out[i] = p.blank()
	}
	if f[0].after.Measure == "balance" {
		f.compareBalances(out, spread, spend.more)
		return out
	}
	for i, p := range f {
		p.compare(&out[i], spread, spend)
	}
	return out
}

// power is the chance with which the smallest change would have been seen.
const power = 0.8

// blank is p without an answer.
func (p pair) blank() result.Change {
	b, a := p.before.Quantity, p.after.Quantity
	return result.Change{
		String: p.after.String, Note: p.after.Note, Test: p.after.Test, Measure: p.after.Measure, Unit: p.after.Unit,
		Before: b.Estimate, After: a.Estimate, P: 1, AdjustedP: 1, Size: p.size,
		Takes: [2]int{len(groups(b)), len(groups(a))},
	}
}

func (p pair) compare(c *result.Change, spread stats.Spread, spend *effort) {
	gb, ga := groups(p.before.Quantity), groups(p.after.Quantity)
	if len(gb) == 0 || len(ga) == 0 {
		compareEstimates(c)
		return
	}
	shared := math.Hypot(sharedError(p.before.Quantity), sharedError(p.after.Quantity))
	s := stats.ShiftGrouped(gb, ga, spread).Widened(stats.Spread{SD: shared / math.Sqrt2})
	if !setShift(c, s, spread) {
		return
	}
	smallest := spend.sizes.SmallestShiftGrouped(gb, ga, spread, power)
	setSmallest(c, math.Hypot(smallest, shared*(stats.Normal(stats.Nominal)+stats.Normal(2*power-1))))
	if sd := math.Sqrt(stats.Scatter(slices.Concat(gb, ga))); spend.more && sd > 0 && p.size > 0 && c.Measure != "level" {
		if more, ok := stats.MoreForShift(s.NX, s.NY, p.size, sd, power); ok && more > 0 {
			c.More = &more
		}
	}
}

// sharedError is the standard error that all values of q share, by how much
// wider its interval is than their scatter makes it.
func sharedError(q result.Quantity) float64 {
	scattered := stats.Summarize(plain(q.Values)).Interval
	if q.Estimate == nil || q.Estimate.Interval == nil || scattered == nil || q.Estimate.N != len(q.Values) {
		return 0
	}
	whole, seen := q.Estimate.Interval.SE(), scattered.SE()
	return math.Sqrt(math.Max(0, whole*whole-seen*seen))
}

// setShift puts the shift into c; false where there is none.
func setShift(c *result.Change, s stats.Shift, spread stats.Spread) bool {
	c.Assumed = spread.DF == 0 && spread.SD > 0
	if math.IsNaN(s.Estimate) {
		c.Reason = "no value on one side"
		return false
	}
	c.Shift, c.Interval, c.P = &s.Estimate, s.Interval, s.P
	if c.Interval == nil {
		c.Reason = fmt.Sprintf("%d against %d events are too few", s.NX, s.NY)
	}
	return true
}

func setSmallest(c *result.Change, v float64) {
	if !math.IsInf(v, 0) && !math.IsNaN(v) {
		c.Smallest = &v
	}
}

// compareEstimates compares numbers that have intervals and no events behind
// them: the standard errors add in squares.
func compareEstimates(c *result.Change) {
	shift := c.After.Median - c.Before.Median
	c.Shift = &shift
	if c.Before.Interval == nil || c.After.Interval == nil {
		c.Reason = "no interval on one side"
		return
	}
	se := math.Hypot(c.Before.Interval.SE(), c.After.Interval.SE())
	coverage := math.Min(c.Before.Interval.Coverage, c.After.Interval.Coverage)
	half := stats.Normal(coverage) * se
	c.Interval = &stats.Interval{Low: shift - half, High: shift + half, Coverage: coverage}
	if se > 0 {
		c.P = math.Erfc(math.Abs(shift) / se / math.Sqrt2)
		smallest := se * (stats.Normal(stats.Nominal) + stats.Normal(2*power-1))
		c.Smallest = &smallest
	}
}

func halfOf(e *stats.Estimate) float64 { return (e.Interval.High - e.Interval.Low) / 2 }
