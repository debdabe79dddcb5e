package report

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// trendFigures draw each measure over the stages, one line a string; silence
// is one figure, its hum's lines another. What the table says better is left
// to it: pitch, whose changes are invisible beside the pitch itself, and what
// level, noise and THD say already.
func trendFigures(t *result.Trend) []figure {
	if len(t.Stages) < 2 {
		return nil
	}
	var order []string
	families := map[string][]result.Series{}
	for _, s := range t.Series {
		key := trendKey(s)
		if key == "" {
			continue
		}
		if families[key] == nil {
			order = append(order, key)
		}
		families[key] = append(families[key], s)
	}
	var out []figure
	for _, key := range order {
		family := families[key]
		if key == humLines {
			family = loudest(family, mostLines)
		}
		if f := trendFigure(t, key, family); f != nil {
			out = append(out, *f)
		}
	}
	return out
}

// Figures of several measures of the whole pickup.
const (
	silence  = "noise and hum"
	humLines = "lines of the hum"
)

// mostLines is how many lines of the hum are told apart in one panel.
const mostLines = 6

// trendKey names the figure that shows the series; empty for none.
func trendKey(s result.Series) string {
	switch {
	case s.Unit == "Hz", s.Measure == "signal to noise", s.Measure == "THD+N":
		return ""
	case strings.HasPrefix(s.Measure, "hum line"):
		if s.Test != "quiet" {
			return ""
		}
		return humLines
	case s.Test == "quiet with hand" && s.Measure != "hum":
		return ""
	case s.String == 0 && s.Unit == "dBFS":
		return silence
	}
	return s.Test + " " + s.Measure
}

// loudest are the n series that reach highest, in their order.
func loudest(family []result.Series, n int) []result.Series {
	height := func(s result.Series) float64 {
		_, high := extremes([]result.Series{s})
		return high
	}
	sorted := slices.SortedStableFunc(slices.Values(family), func(a, b result.Series) int { return cmp.Compare(height(b), height(a)) })
	if len(sorted) <= n {
		return family
	}
	least := height(sorted[n-1])
	return slices.DeleteFunc(slices.Clone(family), func(s result.Series) bool { return height(s) < least })
}

// lineName is what stands at the end of a series' line.
func lineName(s result.Series) string {
	switch {
	case s.String > 0:
		return seriesName(s)
	case strings.HasPrefix(s.Measure, "hum line "):
		return strings.TrimPrefix(s.Measure, "hum line ")
	}
	name := map[string]string{"floor A-weighted": "noise (A)", "floor without hum": "hiss"}[s.Measure]
	if name == "" {
		name = s.Measure
	}
	if s.Test == "quiet with hand" {
		name += ", hand"
	}
	return name
}

// wholeInk tells lines of the whole pickup apart.
func wholeInk(k int) color.RGBA { return stringInk(k + 1) }

// leastSpan is the least height of an axis in the unit, so that a change of
// nothing does not fill it.
func leastSpan(unit string) float64 {
	if unit == "s" {
		return 1
	}
	return 4
}

func trendFigure(t *result.Trend, key string, family []result.Series) *figure {
	low, high := extremes(family)
	if !finite(low) || !finite(high) {
		return nil
	}
	p := newPanel("", "", family[0].Unit)
	room := math.Max((high-low)*0.08, (leastSpan(family[0].Unit)-high+low)/2)
	step := niceStep(high-low+2*room, 6)
	steps(&p.Y, low-room, high+room, step, digitsFor(step))
	var ticks []plot.Tick
	for i, s := range t.Stages {
		ticks = append(ticks, plot.Tick{Value: float64(i), Label: clip(inFont(s.Name, fmt.Sprintf("stage %d", i+1)), 16)})
	}
	p.X.Min, p.X.Max = -0.4, float64(len(t.Stages))-0.6
	p.X.Tick.Marker = plot.ConstantTicks(ticks)
	gridLines(p, false, true)
	var labels []endLabel
	var ends []float64
	for k, s := range family {
		ink := wholeInk(k)
		if s.String > 0 {
			ink = stringInk(s.String)
		}
		aside := (float64(k) - float64(len(family)-1)/2) * math.Min(0.05, 0.4/float64(len(family)))
		if x, y, ok := addSeries(p, s, aside, ink); ok {
			labels, ends = append(labels, endLabel{lineName(s), y, ink}), append(ends, x)
		}
	}
	if len(labels) > 0 {
		p.Add(endLabels(func(i int) float64 { return ends[i] }, labels))
	}
	return &figure{
		name: "trend-" + strings.NewReplacer(" ", "-").Replace(strings.ToLower(key)), title: capital(key) + " over the stages",
		legend:  "bar: interval; filled: a real change since the stage before; ring: none, or none seen",
		caption: trendCaption(t, key, family), lead: p, height: headHeight + leadHeight + 2*figureMargin + 4,
	}
}

// extremes are the least and largest number drawn.
func extremes(family []result.Series) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range family {
		for _, pt := range s.Points {
			if pt.Estimate == nil {
				continue
			}
			low, high = math.Min(low, pt.Estimate.Median), math.Max(high, pt.Estimate.Median)
			if iv := pt.Estimate.Interval; iv != nil {
				low, high = math.Min(low, iv.Low), math.Max(high, iv.High)
			}
		}
	}
	return low, high
}

// addSeries draws one string's line and gives its last point.
func addSeries(p *plot.Plot, s result.Series, aside float64, ink color.RGBA) (x, y float64, ok bool) {
	var xs, ys []float64
	for i, pt := range s.Points {
		if pt.Estimate == nil {
			xs, ys = append(xs, math.NaN()), append(ys, math.NaN())
			continue
		}
		x, y, ok = float64(i)+aside, pt.Estimate.Median, true
		xs, ys = append(xs, x), append(ys, y)
		if iv := pt.Estimate.Interval; iv != nil {
			p.Add(upright(x, iv.Low, iv.High, faded(ink, 0.6)))
		}
	}
	p.Add(curve(xs, ys, faded(ink, 0.6), lineThin*1.4, stringDashes(s.String)...))
	for i, pt := range s.Points {
		if pt.Estimate == nil {
			continue
		}
		var shape draw.GlyphDrawer = draw.RingGlyph{}
		if pt.Real() {
			shape = draw.CircleGlyph{}
		}
		p.Add(symbol(xs[i], ys[i], draw.CircleGlyph{}, paper, 3.3), symbol(xs[i], ys[i], shape, ink, 3.5))
	}
	return x, y, ok
}

// upright draws a vertical interval at data x.
func upright(at, low, high float64, ink color.Color) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		c.StrokeLine2(draw.LineStyle{Color: ink, Width: lineMain}, x(at), y(low), x(at), y(high))
	}
}

func trendCaption(t *result.Trend, key string, family []result.Series) string {
	var words []string
	for i, stage := range t.Stages {
		var strs []string
		for _, s := range family {
			if s.Points[i].Real() {
				strs = append(strs, lineName(s))
			}
		}
		if len(strs) > 0 {
			words = append(words, fmt.Sprintf("%s at %s", listWords(strs), stage.Name))
		}
	}
	if len(words) == 0 {
		return "No real change of " + key + " between neighbouring stages."
	}
	return "Real changes of " + key + ": " + strings.Join(words, "; ") + "."
}
