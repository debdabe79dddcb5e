package report

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

const changesLegend = "point: change; bar: its interval; filled: real among all questions asked"

// changesFigure shows the changes of the strings, a panel a measure: what
// hangs neither on gain nor hand, in dB and in seconds.
func changesFigure(c *result.Comparison) *figure {
	var panels []*plot.Plot
	var shown []result.Change
	rows := 0
	spans := map[string]float64{}
	for _, f := range changeFamilies(c) {
		if f.drawn() {
			unit := shiftUnit(f.unit)
			spans[unit] = math.Max(spans[unit], reachOf(f.changes))
			rows = max(rows, len(f.changes))
		}
	}
	for _, f := range changeFamilies(c) {
		if f.drawn() {
			panels = append(panels, changesPanel(f, math.Min(spans[shiftUnit(f.unit)], 24), changeName))
			shown = append(shown, f.changes...)
		}
	}
	if len(panels) == 0 {
		return nil
	}
	grid := inGrid(panels)
	return &figure{
		name: "changes", title: "What changed, string by string", legend: changesLegend, caption: changesCaption(shown),
		panels: grid, height: gridHeight(len(grid), 46+changeRow*vg.Length(rows)),
	}
}

// changeRow is the height of one string's row.
const changeRow = vg.Length(13.5)

// drawn tells whether a figure shows the family.
func (f changeFamily) drawn() bool {
	switch ch := f.changes[0]; {
	case ch.String == 0, ch.Measure == "level", ch.Measure == "signal to noise", ch.Measure == "THD+N":
		return false
	case ch.Unit != "dB" && ch.Unit != "dBFS" && ch.Unit != "s":
		return false
	}
	return slices.ContainsFunc(f.changes, func(ch result.Change) bool { return ch.Interval != nil })
}

// reachOf is how far the changes and their intervals go, at least 1.
func reachOf(changes []result.Change) float64 {
	far := 1.0
	for _, ch := range changes {
		if ch.Interval != nil {
			far = math.Max(far, math.Max(math.Abs(ch.Interval.Low), math.Abs(ch.Interval.High)))
		}
	}
	return far
}

// changesPanel has a row for each change, zero in the middle.
func changesPanel(f changeFamily, far float64, name func(result.Change) string) *plot.Plot {
	unit := shiftUnit(f.unit)
	p := newPanel(capital(f.title)+", "+unit, unit+", after less before", "")
	step := niceStep(2*far, 6)
	steps(&p.X, -far*1.1, far*1.1, step, digitsFor(step))
	p.Y.Min, p.Y.Max = -float64(len(f.changes))+0.4, 0.6
	p.Y.LineStyle.Width = 0
	var ticks []plot.Tick
	for i, ch := range f.changes {
		ticks = append(ticks, plot.Tick{Value: -float64(i), Label: name(ch)})
	}
	p.Y.Tick.Marker = plot.ConstantTicks(ticks)
	p.Y.Tick.Length = 0
	gridLines(p, true, false)
	p.Add(verticalRule(0, inkAxis, lineThin*1.5))
	for i, ch := range f.changes {
		if ch.Interval != nil {
			addChange(p, ch, -float64(i))
		}
	}
	return p
}

// quietChangesFigure shows noise floor, hum and its lines.
func quietChangesFigure(c *result.Comparison) *figure {
	var panels []*plot.Plot
	var shown []result.Change
	far, rows := 1.0, 0
	for _, f := range changeFamilies(c) {
		if f.changes[0].String == 0 && f.unit == "dBFS" {
			far, rows = math.Max(far, reachOf(f.changes)), max(rows, len(f.changes))
		}
	}
	for _, f := range changeFamilies(c) {
		if f.changes[0].String == 0 && f.unit == "dBFS" {
			panels = append(panels, changesPanel(f, math.Min(far, 24), changeName))
			shown = append(shown, f.changes...)
		}
	}
	if len(panels) == 0 {
		return nil
	}
	grid := intoRows(panels, 1)
	if rows > 12 || len(panels) == 1 {
		grid = intoRows(panels, min(2, len(panels)))
	}
	return &figure{
		name: "changes-silence", title: "What changed in silence", legend: changesLegend, caption: changesCaption(shown),
		panels: grid, height: gridHeight(len(grid), 46+changeRow*vg.Length(rows)),
	}
}

func changesCaption(shown []result.Change) string {
	real := 0
	for _, ch := range shown {
		if ch.Survives {
			real++
		}
	}
	switch {
	case real == 0:
		return fmt.Sprintf("None of %d changes is beyond chance.", len(shown))
	case real == 1:
		return fmt.Sprintf("One of %d changes is beyond chance.", len(shown))
	}
	return fmt.Sprintf("%d of %d changes are beyond chance.", real, len(shown))
}

func addChange(p *plot.Plot, ch result.Change, at float64) {
	ink := inkQuiet
	if ch.String > 0 {
		ink = stringInk(ch.String)
	}
	p.Add(span(ch.Interval.Low, ch.Interval.High, at, faded(ink, 0.75), lineMain))
	p.Add(symbol(*ch.Shift, at, draw.CircleGlyph{}, paper, 3.2))
	var shape draw.GlyphDrawer = draw.RingGlyph{}
	if ch.Survives {
		shape = draw.CircleGlyph{}
	}
	p.Add(symbol(*ch.Shift, at, shape, ink, 3.4))
}

// responseChangeFigure shows the difference of the tap responses by string.
func responseChangeFigure(c *result.Comparison) *figure {
	return bandsFigure(c.Response, "response-change", "Change of the tap response", "tap response")
}

// sweepChangeFigure shows the difference of the sweep responses.
func sweepChangeFigure(c *result.Comparison) *figure {
	return bandsFigure(c.Sweep, "sweep-change", "Change of the sweep response", "sweep response")
}

func bandsFigure(changes []result.BandChange, name, title, what string) *figure {
	if len(changes) == 0 {
		return nil
	}
	low, high, most := math.Inf(1), 0.0, 0.0
	for _, s := range changes {
		for _, b := range s.Bands {
			low, high, most = math.Min(low, b.MidHz), math.Max(high, b.MidHz), math.Max(most, math.Abs(b.DB))
		}
	}
	far := 18.0
	for _, size := range []float64{12, 6, 3} {
		if most <= size {
			far = size
		}
	}
	var panels []*plot.Plot
	for _, s := range changes {
		panels = append(panels, bandsPanel(s, low/1.1, high*1.1, far))
	}
	grid := inGrid(panels)
	return &figure{
		name: name, title: title,
		legend:  "line: after less before; shade: its interval; thick: leaves zero beyond chance",
		caption: bandsCaption(changes, what), panels: grid, height: gridHeight(len(grid), 128),
	}
}

func bandsPanel(s result.BandChange, lowHz, highHz, far float64) *plot.Plot {
	ink, name := inkText, "Whole bridge"
	if s.String > 0 {
		ink, name = stringInk(s.String), stringName(result.String{Number: s.String, Note: s.Note})
	}
	p := newPanel(name, "Hz", "dB")
	logFrequency(p, lowHz, highHz, false)
	steps(&p.Y, -far, far, far/3, 0)
	gridLines(p, true, true)
	p.Add(horizontalRule(0, inkAxis, lineThin*1.5))
	var hz, db, thick, low, high []float64
	for _, b := range s.Bands {
		lo, hi, out := math.NaN(), math.NaN(), math.NaN()
		if b.Around != nil {
			lo, hi = b.Around.Low, b.Around.High
		}
		if b.Leaves {
			out = b.DB
		}
		hz, db, thick, low, high = append(hz, b.MidHz), append(db, b.DB), append(thick, out), append(low, lo), append(high, hi)
	}
	p.Add(ribbon(hz, low, high, faded(ink, 0.2)), curve(hz, db, faded(ink, 0.7), lineThin), curve(hz, thick, ink, lineMain*1.5))
	return p
}
