package report

import (
	"cmp"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// mark draws one thing into a panel; x and y map data to the canvas. It keeps
// nothing: a figure is drawn in several forms at once.
type mark func(c draw.Canvas, x, y func(float64) vg.Length)

// Plot makes a mark a plotter.
func (m mark) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	m(c, x, y)
}

// gridLines draws a quiet line at every tick of both axes, or of one.
func gridLines(p *plot.Plot, vertical, horizontal bool) {
	p.Add(mark(func(c draw.Canvas, x, y func(float64) vg.Length) {
		st := draw.LineStyle{Color: inkGrid, Width: lineThin}
		for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
			if vertical {
				c.StrokeLine2(st, x(t.Value), c.Min.Y, x(t.Value), c.Max.Y)
			}
		}
		for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
			if horizontal {
				c.StrokeLine2(st, c.Min.X, y(t.Value), c.Max.X, y(t.Value))
			}
		}
	}))
}

// fillBox fills the data rectangle, clipped to the panel.
func fillBox(x0, x1, y0, y1 float64, ink color.Color) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		l, r := clampTo(x(x0), c.Min.X, c.Max.X), clampTo(x(x1), c.Min.X, c.Max.X)
		b, t := clampTo(y(y0), c.Min.Y, c.Max.Y), clampTo(y(y1), c.Min.Y, c.Max.Y)
		c.FillPolygon(ink, []vg.Point{{X: l, Y: b}, {X: r, Y: b}, {X: r, Y: t}, {X: l, Y: t}})
	}
}

func clampTo(v, low, high vg.Length) vg.Length { return min(max(v, low), high) }

// verticalRule draws a line at data x over the whole height.
func verticalRule(at float64, ink color.Color, width vg.Length, dashes ...vg.Length) mark {
	return func(c draw.Canvas, x, _ func(float64) vg.Length) {
		c.StrokeLine2(draw.LineStyle{Color: ink, Width: width, Dashes: dashes}, x(at), c.Min.Y, x(at), c.Max.Y)
	}
}

// horizontalRule draws a line at data y over the whole width.
func horizontalRule(at float64, ink color.Color, width vg.Length, dashes ...vg.Length) mark {
	return func(c draw.Canvas, _, y func(float64) vg.Length) {
		c.StrokeLine2(draw.LineStyle{Color: ink, Width: width, Dashes: dashes}, c.Min.X, y(at), c.Max.X, y(at))
	}
}

// curve draws a line through points, broken where a value is not finite and
// clipped to the panel.
func curve(xs, ys []float64, ink color.Color, width vg.Length, dashes ...vg.Length) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		var run []vg.Point
		st := draw.LineStyle{Color: ink, Width: width, Dashes: dashes}
		flush := func() {
			if len(run) > 1 {
				c.StrokeLines(st, c.ClipLinesXY(run)...)
			}
			run = nil
		}
		for i := range min(len(xs), len(ys)) {
			if !finite(xs[i]) || !finite(ys[i]) {
				flush()
				continue
			}
			run = append(run, vg.Point{X: x(xs[i]), Y: y(ys[i])})
		}
		flush()
	}
}

// ribbon fills between low and high, broken where either is not finite.
func ribbon(xs, low, high []float64, ink color.Color) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		start := -1
		for i := 0; i <= len(xs); i++ {
			ok := i < min(len(xs), len(low), len(high)) && finite(low[i]) && finite(high[i])
			if ok && start < 0 {
				start = i
			}
			if !ok && start >= 0 {
				fillBetween(c, x, y, xs[start:i], low[start:i], high[start:i], ink)
				start = -1
			}
		}
	}
}

func fillBetween(c draw.Canvas, x, y func(float64) vg.Length, xs, low, high []float64, ink color.Color) {
	pts := make([]vg.Point, 0, 2*len(xs))
	for i := range xs {
		pts = append(pts, vg.Point{X: x(xs[i]), Y: y(high[i])})
	}
	for i := len(xs) - 1; i >= 0; i-- {
		pts = append(pts, vg.Point{X: x(xs[i]), Y: y(low[i])})
	}
	if len(xs) > 1 {
		c.FillPolygon(ink, c.ClipPolygonXY(pts))
	}
}

// note writes words at a data point, shifted by dx, dy points, kept inside
// the panel's width.
func note(words string, atX, atY float64, st text.Style, dx, dy vg.Length) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		if !finite(atX) || !finite(atY) {
			return
		}
		pt := vg.Point{X: x(atX) + dx, Y: y(atY) + dy}
		w := st.Width(words)
		left := pt.X + w*vg.Length(st.XAlign)
		if over := left + w - c.Max.X; over > 0 {
			pt.X -= over
		}
		if under := c.Min.X - left; under > 0 {
			pt.X += under
		}
		c.FillText(st, pt, words)
	}
}

// wordsBox is what words at pt cover, from below the baseline to the height
// of capitals.
func wordsBox(st text.Style, pt vg.Point, words string) vg.Rectangle {
	size := st.Font.Size
	baseline := pt.Y + st.Height(words)*vg.Length(st.YAlign) - st.FontExtents().Ascent + size
	if st.YAlign == draw.YCenter {
		baseline = pt.Y - capHeight/2*size
	}
	left := pt.X + st.Width(words)*vg.Length(st.XAlign)
	return vg.Rectangle{
		Min: vg.Point{X: left - 1, Y: baseline - 0.22*size},
		Max: vg.Point{X: left + st.Width(words) + 1, Y: baseline + 0.8*size},
	}
}

// fillOnPaper writes words with paper behind them, so that no grid line runs
// through.
func fillOnPaper(c draw.Canvas, st text.Style, pt vg.Point, words string) {
	if words == "" {
		return
	}
	c.SetColor(paper)
	c.Fill(wordsBox(st, pt, words).Path())
	c.FillText(st, pt, words)
}

func overlap(a, b vg.Rectangle) bool {
	return a.Min.X < b.Max.X && b.Min.X < a.Max.X && a.Min.Y < b.Max.Y && b.Min.Y < a.Max.Y
}

// corner writes words in a corner of the panel.
func corner(words string, st text.Style, right, top bool) mark {
	st.XAlign, st.YAlign = draw.XLeft, draw.YBottom
	if right {
		st.XAlign = draw.XRight
	}
	if top {
		st.YAlign = draw.YTop
	}
	return func(c draw.Canvas, _, _ func(float64) vg.Length) {
		pt := vg.Point{X: c.Min.X + 3, Y: c.Min.Y + 3}
		if right {
			pt.X = c.Max.X - 3
		}
		if top {
			pt.Y = c.Max.Y - 3
		}
		fillOnPaper(c, st, pt, words)
	}
}

// symbol draws a small shape at a data point: filled for a known value.
func symbol(atX, atY float64, shape draw.GlyphDrawer, ink color.Color, radius vg.Length) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		c.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: radius, Shape: shape}, vg.Point{X: x(atX), Y: y(atY)})
	}
}

// span draws a horizontal interval with end caps.
func span(low, high, atY float64, ink color.Color, width vg.Length) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		st := draw.LineStyle{Color: ink, Width: width}
		l, r := clampTo(x(low), c.Min.X, c.Max.X), clampTo(x(high), c.Min.X, c.Max.X)
		c.StrokeLine2(st, l, y(atY), r, y(atY))
		c.StrokeLine2(st, l, y(atY)-3, l, y(atY)+3)
		c.StrokeLine2(st, r, y(atY)-3, r, y(atY)+3)
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// cornerLine writes words in the top right corner, line 0 first.
func cornerLine(words string, st text.Style, line int) mark {
	st.XAlign, st.YAlign = draw.XRight, draw.YTop
	return func(c draw.Canvas, _, _ func(float64) vg.Length) {
		fillOnPaper(c, st, vg.Point{X: c.Max.X - 3, Y: c.Max.Y - 3 - vg.Length(line)*(sizeSmall+3)}, words)
	}
}

// endLabel is a word at the right end of a curve.
type endLabel struct {
	words string
	at    float64 // data y of the curve's end
	ink   color.RGBA
}

// endLabels writes words to the right of the panel, each as near its curve's
// end as the others leave room, with a thin leader to it from data x.
func endLabels(fromX func(i int) float64, labels []endLabel) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		at := make([]vg.Length, len(labels))
		for i, l := range labels {
			at[i] = clampTo(y(l.at), c.Min.Y, c.Max.Y)
		}
		placed := spreadOut(at, sizeSmall+1.5, c.Max.Y)
		for i, l := range labels {
			st := textStyle(sizeSmall, legible(l.ink), draw.XLeft, draw.YCenter)
			st.Font = typeface(sizeSmall, true)
			pt := vg.Point{X: c.Max.X + 12, Y: placed[i]}
			line := draw.LineStyle{Color: faded(l.ink, 0.5), Width: lineThin}
			c.StrokeLines(line, []vg.Point{{X: x(fromX(i)), Y: at[i]}, {X: c.Max.X, Y: placed[i]}, {X: c.Max.X + 9, Y: placed[i]}})
			c.FillText(st, pt, l.words)
		}
	}
}

// spreadOut moves positions apart to at least gap, keeping their order
// and none above high.
func spreadOut(at []vg.Length, gap, high vg.Length) []vg.Length {
	order := make([]int, len(at))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(at[a], at[b]) })
	out := slices.Clone(at)
	for k, i := range order {
		if k > 0 {
			out[i] = max(out[i], out[order[k-1]]+gap)
		}
	}
	for k := len(order) - 1; k >= 0; k-- {
		limit := high
		if k < len(order)-1 {
			limit = out[order[k+1]] - gap
		}
		out[order[k]] = min(out[order[k]], limit)
	}
	return out
}
