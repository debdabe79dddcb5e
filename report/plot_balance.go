package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// balanceKind is one of the three balances; they are different facts and are
// drawn in rows of their own.
type balanceKind struct {
	word  string
	shape draw.GlyphDrawer
	of    func(result.String) *result.Quantity
}

var balanceKinds = []balanceKind{
	{"tap", draw.CircleGlyph{}, func(s result.String) *result.Quantity {
		if s.Tap == nil {
			return nil
		}
		return &s.Tap.BalanceDB
	}},
	{"pluck", draw.BoxGlyph{}, func(s result.String) *result.Quantity {
		if s.Pluck == nil {
			return nil
		}
		return &s.Pluck.BalanceDB
	}},
	{"tone", draw.PyramidGlyph{}, func(s result.String) *result.Quantity {
		if s.Tone == nil {
			return nil
		}
		return &s.Tone.BalanceDB
	}},
}

type balanceRow struct {
	kind   balanceKind
	str    result.String
	value  result.Quantity
	height float64
}

// balanceFigure shows how loud each string is beside the mean of all.
func balanceFigure(r *result.Results) *figure {
	rows := balanceRows(r)
	if len(rows) < 2 {
		return nil // one number needs no chart
	}
	limit, hasLimit := r.Stage.LimitValue("balance_db")
	span := 1.0
	for _, row := range rows {
		span = math.Max(span, reach(row.value))
	}
	if hasLimit {
		span = math.Max(span, limit*1.3)
	}
	p := newPanel("", "dB beside the mean of all strings", "")
	step := niceStep(2*span, 8)
	steps(&p.X, -span*1.12, span*1.12, step, digitsFor(step))
	bottom := rows[len(rows)-1].height - 0.6
	p.Y.Min, p.Y.Max = bottom, 0.6
	p.Y.LineStyle.Width = 0
	p.Y.Tick.Marker = stringTicks(rows)
	legend := "point: median of the events; bar: its interval"
	if hasLimit {
		p.Add(fillBox(-limit, limit, bottom, 0.6, inkBand))
		legend += fmt.Sprintf("; band: ±%s dB", trim(limit))
	}
	gridLines(p, true, false)
	p.Add(verticalRule(0, inkAxis, lineThin))
	for _, row := range rows {
		addBalanceRow(p, row)
	}
	return &figure{
		name: "balance", title: "Balance of the strings", legend: legend,
		caption: balanceCaption(r), panels: [][]*plot.Plot{{p}},
		height: gridHeight(0, 0) + 30 + 18*vg.Length(len(rows)),
	}
}

func balanceRows(r *result.Results) []balanceRow {
	var rows []balanceRow
	at := 0.0
	for _, s := range r.Strings {
		n := len(rows)
		for _, k := range balanceKinds {
			if q := k.of(s); q != nil && q.Known() && finite(q.Estimate.Median) {
				rows = append(rows, balanceRow{k, s, *q, at})
				at--
			}
		}
		if len(rows) > n {
			at -= 0.4
		}
	}
	return rows
}

// reach is how far from 0 a value or its interval goes.
func reach(q result.Quantity) float64 {
	v := math.Abs(q.Estimate.Median)
	if iv := q.Estimate.Interval; iv != nil {
		v = max(v, math.Abs(iv.Low), math.Abs(iv.High))
	}
	return v
}

func stringTicks(rows []balanceRow) plot.Ticker {
	var ticks []plot.Tick
	for i := 0; i < len(rows); {
		j := i
		for j < len(rows) && rows[j].str.Number == rows[i].str.Number {
			j++
		}
		mid := (rows[i].height + rows[j-1].height) / 2
		ticks = append(ticks, plot.Tick{Value: mid, Label: clip(stringName(rows[i].str), 12)})
		i = j
	}
	return plot.ConstantTicks(ticks)
}

func addBalanceRow(p *plot.Plot, row balanceRow) {
	ink := stringInk(row.str.Number)
	est := row.value.Estimate
	if iv := est.Interval; iv != nil {
		p.Add(span(iv.Low, iv.High, row.height, faded(ink, 0.75), lineMain))
	}
	p.Add(symbol(est.Median, row.height, row.kind.shape, ink, 4))
	words := fmt.Sprintf("%s %s", row.kind.word, signed(est.Median, 1))
	left, right := est.Median, est.Median
	if iv := est.Interval; iv != nil {
		left, right = math.Min(left, iv.Low), math.Max(right, iv.High)
	}
	st := textStyle(sizeSmall, inkQuiet, draw.XLeft, draw.YCenter)
	if right > 0.65*p.X.Max { // no room at the right
		st.XAlign = draw.XRight
		p.Add(note(words, left, row.height, st, -7, 0))
		return
	}
	p.Add(note(words, right, row.height, st, 7, 0))
}

// balanceCaption names the string that stands out most, and by what.
func balanceCaption(r *result.Results) string {
	worst, word := result.String{}, ""
	var value result.Quantity
	for _, row := range balanceRows(r) {
		if word == "" || math.Abs(row.value.Estimate.Median) > math.Abs(value.Estimate.Median) {
			worst, word, value = row.str, row.kind.word, row.value
		}
	}
	side := "louder"
	if value.Estimate.Median < 0 {
		side = "quieter"
	}
	return fmt.Sprintf("Furthest from the mean of all strings: string %s, %s dB %s by %s%s.",
		stringName(worst), trim(roundTo(math.Abs(value.Estimate.Median), 1)), side, word, intervalWords(value, 1, signed))
}
