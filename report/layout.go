package report

import (
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// layout is the room that a figure is drawn for. Type keeps its size in
// points, so a narrower layout has larger letters for its width.
type layout struct {
	wide   vg.Length
	dpi    int
	phone  bool // panels in fewer columns than were planned
	ending string
}

var (
	// onPage suits a page or a screen of 600 pixels and more.
	onPage = layout{wide: 420, dpi: 240, ending: ".png"}
	// onPhone fills the width of a phone held upright.
	onPhone = layout{wide: 290, dpi: 216, phone: true, ending: "-phone.png"}
)

// isForPhone tells a picture that only a page holds.
func isForPhone(f file) bool { return strings.HasSuffix(f.name, onPhone.ending) }

// columns is in how many columns n panels are read easily.
func (l layout) columns(n int) int {
	switch {
	case n <= 1, l.phone && n <= 4:
		return 1
	case l.phone, n <= 6:
		return 2
	default:
		return 3
	}
}

// fit is the figure with its panels arranged, and its height made to suit, for
// the layout. Panels are copies: the figure can be drawn twice at once.
func (f figure) fit(l layout) figure {
	rows := len(f.panels)
	if l.phone && rows > 0 && len(f.panels[0]) > 1 {
		var flat []*plot.Plot
		for _, row := range f.panels {
			flat = append(flat, slices.DeleteFunc(slices.Clone(row), func(p *plot.Plot) bool { return p == nil })...)
		}
		above := gridHeight(0, 0)
		if f.lead != nil {
			above += leadHeight + leadGap
		}
		each := (f.height - above) / vg.Length(rows)
		f.panels = intoRows(flat, l.columns(len(flat)))
		f.height = above + each*vg.Length(len(f.panels))
	}
	f.panels = f.fitPanels(l)
	if f.lead != nil {
		f.lead = fitPlot(f.lead, l.wide-2*figureMargin-leadRoom)
	}
	f.head = inLines(textStyle(sizeSmall, nil, 0, 0), f.legend, l.wide-2*figureMargin)
	f.height += headLine * vg.Length(len(f.head)-1)
	return f
}

func (f figure) fitPanels(l layout) [][]*plot.Plot {
	grid := make([][]*plot.Plot, len(f.panels))
	for j, row := range f.panels {
		grid[j] = make([]*plot.Plot, len(row))
		for i, p := range row {
			if p != nil {
				grid[j][i] = fitPlot(p, (l.wide-2*figureMargin)/vg.Length(len(row)))
			}
		}
	}
	labelEdges(grid)
	return grid
}

// fitPlot is a copy of p that labels as many frequencies as its width has room
// for, and shortens names that would meet.
func fitPlot(p *plot.Plot, wide vg.Length) *plot.Plot {
	q := *p
	switch t := q.X.Tick.Marker.(type) {
	case frequencyTicks:
		t.room = wide - axisRoom
		q.X.Tick.Marker = t
	case plot.ConstantTicks:
		q.X.Tick.Marker = fitNames(t, (wide-axisRoom)/vg.Length(max(1, len(t)))-4)
	}
	return &q
}

func fitNames(ticks plot.ConstantTicks, width vg.Length) plot.ConstantTicks {
	st := textStyle(sizeTick, nil, 0, 0)
	out := slices.Clone(ticks)
	for i, t := range out {
		if st.Width(t.Label) > width {
			out[i].Label = clippedTo(st, t.Label, width)
		}
	}
	return out
}

// axisRoom is about what the labels of a vertical axis take.
const axisRoom = vg.Length(45)

// intoRows lays panels out row by row; holes are nil.
func intoRows(panels []*plot.Plot, cols int) [][]*plot.Plot {
	var grid [][]*plot.Plot
	for len(panels) > 0 {
		row := make([]*plot.Plot, cols)
		panels = panels[copy(row, panels):]
		grid = append(grid, row)
	}
	return grid
}

// inLines breaks words into lines of at most width.
func inLines(st text.Style, words string, width vg.Length) []string {
	var lines []string
	line := ""
	for _, w := range strings.Fields(words) {
		longer := strings.TrimLeft(line+" "+w, " ")
		if line != "" && st.Width(longer) > width {
			lines = append(lines, line)
			longer = w
		}
		line = longer
	}
	return append(lines, line)
}

// shortened is words without what comes after their last separators, as far as
// the width asks for, and clipped where that is not enough.
func shortened(st text.Style, words string, width vg.Length) string {
	for st.Width(words) > width {
		cut := max(strings.LastIndex(words, ", "), strings.LastIndex(words, " · "))
		if cut <= 0 {
			return clippedTo(st, words, width)
		}
		words = words[:cut]
	}
	return words
}

func clippedTo(st text.Style, words string, width vg.Length) string {
	runes := []rune(words)
	for len(runes) > 1 && st.Width(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}
