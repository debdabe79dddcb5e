package analysis

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// humLine begins the name of every single line of the hum.
const humLine = "hum line"

// leastHumDB is the least uncertainty of a hum level: hum moves with where a
// hand or a cable lies (common practice, no source).
const leastHumDB = 0.3

// notSeen is the level of a line that a stage does not have.
const notSeen = "not seen"

// clearLineDB is how far a line stands out of the noise before it is told to
// have come or gone: nearer lines flicker (common practice, no source).
const clearLineDB = 12

// quietRows are the hum's total and its single lines.
func quietRows(r *result.Results) []result.Row {
	var out []result.Row
	for _, q := range r.Quiet {
		if q.Hum == nil {
			continue
		}
		out = append(out, humRow(q))
		for _, l := range q.Hum.Lines {
			if l.Order > 0 {
				half := math.Hypot(leastHumDB, stats.Normal(stats.Nominal)*l.PlusMinusDB)
				est := stats.Estimate{Median: l.LevelDBFS, N: 1, Interval: &stats.Interval{Low: l.LevelDBFS - half, High: l.LevelDBFS + half, Coverage: stats.Nominal}}
				out = append(out, result.Row{Test: q.Label, Measure: lineName(l, q.Hum), Unit: "dBFS", Quantity: result.Quantity{Estimate: &est}})
			}
		}
	}
	return out
}

// lineName is the same at both stages, though the mains wander.
func lineName(l result.Line, h *result.Hum) string {
	return fmt.Sprintf("%s %d Hz", humLine, l.Order*h.MainsNominal)
}

func humRow(q result.Quiet) result.Row {
	est := stats.Estimate{Median: q.Hum.TotalDBFS, N: 1}
	if floor := q.FloorDBFS.Estimate; floor != nil && floor.Interval != nil {
		half := math.Max(leastHumDB, halfOf(floor))
		est.Interval = &stats.Interval{Low: est.Median - half, High: est.Median + half, Coverage: floor.Interval.Coverage}
	}
	return result.Row{Test: q.Label, Measure: "hum", Unit: "dBFS", Quantity: result.Quantity{Estimate: &est}}
}

// lineChanges are the hum lines that only one side has.
func lineChanges(before, after *result.Results) []result.FactChange {
	var out []result.FactChange
	for _, a := range after.Quiet {
		for _, b := range before.Quiet {
			if a.Label == b.Label {
				out = append(out, onlyIn(b.Hum, a.Hum, a.Label, false)...)
				out = append(out, onlyIn(a.Hum, b.Hum, a.Label, true)...)
				break
			}
		}
	}
	return out
}

// onlyIn lists the clear lines of has that other lacks.
func onlyIn(other, has *result.Hum, label string, gone bool) []result.FactChange {
	if has == nil {
		return nil
	}
	there := map[int]bool{}
	if other != nil {
		for _, l := range other.Lines {
			there[l.Order*other.MainsNominal] = true
		}
	}
	var out []result.FactChange
	for _, l := range has.Lines {
		if l.Order == 0 || there[l.Order*has.MainsNominal] || l.AboveFloorDB < clearLineDB {
			continue
		}
		f := result.FactChange{What: label + ": " + lineName(l, has), Before: notSeen, After: minus(l.LevelDBFS, 1) + " dBFS"}
		if gone {
			f.Before, f.After = f.After, f.Before
		}
		out = append(out, f)
	}
	return out
}

// merged joins rows of one measure that several takes gave, none with events
// behind it: their mean, with the mean half-width or half their range,
// whichever is more.
func merged(rows []result.Row) []result.Row {
	type key struct {
		str           int
		test, measure string
	}
	at, several := map[key]int{}, map[int][]stats.Estimate{}
	var out []result.Row
	for _, row := range rows {
		k := key{row.String, row.Test, row.Measure}
		i, ok := at[k]
		if !ok {
			i = len(out)
			at[k] = i
			out = append(out, row)
		}
		if row.Quantity.Estimate != nil && len(row.Quantity.Values) == 0 {
			several[i] = append(several[i], *row.Quantity.Estimate)
		}
	}
	for i, list := range several {
		if len(list) > 1 {
			est := meanOf(list)
			out[i].Quantity.Estimate = &est
		}
	}
	return out
}

func meanOf(list []stats.Estimate) stats.Estimate {
	out := stats.Estimate{N: len(list)}
	low, high, half, cover := math.Inf(1), math.Inf(-1), 0.0, 1.0
	for _, e := range list {
		out.Median += e.Median / float64(len(list))
		low, high = math.Min(low, e.Median), math.Max(high, e.Median)
		if e.Interval == nil {
			cover = 0
			continue
		}
		half += halfOf(&e) / float64(len(list))
		cover = math.Min(cover, e.Interval.Coverage)
	}
	if half = math.Max(half, (high-low)/2); cover > 0 {
		out.Interval = &stats.Interval{Low: out.Median - half, High: out.Median + half, Coverage: cover}
	}
	return out
}
