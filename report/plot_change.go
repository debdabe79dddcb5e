package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// changesFigure shows every change in dB that has an interval: balances and
// response, which hang neither on gain nor hand, then silence.
func changesFigure(c *result.Comparison) *figure {
	var shown []result.Change
	for _, ch := range c.Changes {
		if ch.Interval != nil && ch.Measure != "level" && (ch.Unit == "dB" || ch.Unit == "dBFS") {
			shown = append(shown, ch)
		}
	}
	if len(shown) == 0 {
		return nil
	}
	span := math.Min(widest(shown), 24)
	p := newPanel("", "dB, after less before", "")
	step := niceStep(2*span, 8)
	steps(&p.X, -span*1.15, span*1.15, step, digitsFor(step))
	p.Y.Min, p.Y.Max = -float64(len(shown))+0.4, 0.6
	p.Y.LineStyle.Width = 0
	var ticks []plot.Tick
	for i, ch := range shown {
		name := "all"
		if ch.String > 0 {
			name = stringName(result.String{Number: ch.String, Note: ch.Note})
		}
		ticks = append(ticks, plot.Tick{Value: -float64(i), Label: name + " " + ch.Test + " " + ch.Measure})
	}
	p.Y.Tick.Marker = plot.ConstantTicks(ticks)
	gridLines(p, true, false)
	p.Add(verticalRule(0, inkAxis, lineThin*1.5))
	for i, ch := range shown {
		addChange(p, ch, -float64(i))
	}
	return &figure{
		name: "changes", title: "What changed",
		legend:  "point: change; bar: its interval; filled: real after correction for all questions",
		caption: changesCaption(shown), panels: [][]*plot.Plot{{p}}, height: headHeight + 60 + 17*vg.Length(len(shown)),
	}
}

func changesCaption(shown []result.Change) string {
	real := 0
	for _, ch := range shown {
		if ch.Verdict == result.Rose || ch.Verdict == result.Fell {
			real++
		}
	}
	return fmt.Sprintf("%d of %d changes are real.", real, len(shown))
}

func addChange(p *plot.Plot, ch result.Change, at float64) {
	ink := inkQuiet
	if ch.String > 0 {
		ink = stringInk(ch.String)
	}
	p.Add(span(ch.Interval.Low, ch.Interval.High, at, faded(ink, 0.75), lineMain))
	var shape draw.GlyphDrawer = draw.RingGlyph{}
	if ch.Verdict == result.Rose || ch.Verdict == result.Fell {
		shape = draw.CircleGlyph{}
	}
	p.Add(symbol(*ch.Shift, at, shape, ink, 4))
}

// responseChangeFigure shows the difference of the tap responses by string.
func responseChangeFigure(c *result.Comparison) *figure {
	var panels []*plot.Plot
	leaving := ""
	for _, s := range c.Response {
		ink := stringInk(s.String)
		name := stringName(result.String{Number: s.String, Note: s.Note})
		p := newPanel(name, "Hz", "dB")
		logFrequency(p, 50, 16000, false)
		steps(&p.Y, -18, 18, 6, 0)
		gridLines(p, true, true)
		p.Add(horizontalRule(0, inkAxis, lineThin*1.5))
		var hz, db, low, high []float64
		outside := 0
		for _, b := range s.Bands {
			lo, hi := math.NaN(), math.NaN()
			if b.Around != nil {
				lo, hi = b.Around.Low, b.Around.High
			}
			if b.Leaves {
				outside++
			}
			hz, db, low, high = append(hz, b.MidHz), append(db, b.DB), append(low, lo), append(high, hi)
		}
		if outside*2 > len(s.Bands) && leaving == "" {
			leaving = fmt.Sprintf("String %s's response changed in %d of %d bands.", name, outside, len(s.Bands))
		}
		p.Add(ribbon(hz, low, high, faded(ink, 0.22)), curve(hz, db, ink, lineMain))
		panels = append(panels, p)
	}
	if len(panels) == 0 {
		return nil
	}
	if leaving == "" {
		leaving = "No string's response left zero in most bands."
	}
	grid := inGrid(panels)
	return &figure{
		name: "response-change", title: "Change of the tap response",
		legend:  "line: after less before; shade: its interval; where the shade leaves zero the shape changed",
		caption: leaving, panels: grid, height: headHeight + 30 + 150*vg.Length(len(grid)),
	}
}
