package report

import (
	"bytes"
	"fmt"
	"image/png"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// figure is one picture of the report: panels in a grid under a title.
type figure struct {
	name    string         // file name without its ending
	title   string         // what is drawn
	legend  string         // small line under the title: marks, intervals, counts
	caption string         // one sentence that says what to see, from the data
	lead    *plot.Plot     // over the whole width above the panels; may be nil
	panels  [][]*plot.Plot // rows of equal length; nil leaves a hole
	height  vg.Length
	head    []string // lines of the legend, once the layout is known
}

const (
	figureMargin = vg.Length(9)
	headHeight   = vg.Length(40) // title and one line of legend
	headLine     = vg.Length(12) // each further line
	leadHeight   = vg.Length(190)
	leadGap      = vg.Length(12)
	leadRoom     = vg.Length(52) // right of the lead panel, for its labels
)

// png draws the figure.
func (f figure) png(l layout) ([]byte, error) {
	f = f.fit(l)
	c := newCanvas(l.wide, f.height, l.dpi)
	f.draw(draw.New(c))
	var buf bytes.Buffer
	if err := png.Encode(&buf, indexed(c.img)); err != nil {
		return nil, fmt.Errorf("draw %s%s: %w", f.name, l.ending, err)
	}
	return buf.Bytes(), nil
}

// inPixels is the figure drawn in a layout, still to be made.
func (f figure) inPixels(l layout) output {
	return output{f.name + l.ending, func() ([]byte, error) { return f.png(l) }}
}

// svg draws the figure as scalable vectors.
func (f figure) svg() ([]byte, error) {
	f = f.fit(onPage)
	c := vgsvg.New(onPage.wide, f.height)
	ground := draw.New(c)
	ground.SetColor(paper)
	ground.Fill(ground.Rectangle.Path())
	f.draw(ground)
	var buf bytes.Buffer
	if _, err := c.WriteTo(&buf); err != nil {
		return nil, fmt.Errorf("draw %s.svg: %w", f.name, err)
	}
	return buf.Bytes(), nil
}

func (f figure) draw(c draw.Canvas) {
	c = draw.Crop(c, figureMargin, -figureMargin, figureMargin, -figureMargin)
	head := textStyle(sizeTitle, inkText, draw.XLeft, draw.YTop)
	head.Font = typeface(sizeTitle, true)
	c.FillText(head, vg.Point{X: c.Min.X, Y: c.Max.Y}, shortened(head, f.title, c.Max.X-c.Min.X))
	small := textStyle(sizeSmall, inkQuiet, draw.XLeft, draw.YTop)
	for i, line := range f.head {
		c.FillText(small, vg.Point{X: c.Min.X, Y: c.Max.Y - 19 - headLine*vg.Length(i)}, line)
	}
	c = draw.Crop(c, 0, 0, 0, -headHeight-headLine*vg.Length(len(f.head)-1))
	if f.lead != nil {
		f.lead.Draw(draw.Canvas{Canvas: c.Canvas, Rectangle: vg.Rectangle{
			Min: vg.Point{X: c.Min.X, Y: c.Max.Y - leadHeight}, Max: vg.Point{X: c.Max.X - leadRoom, Y: c.Max.Y}}})
		c = draw.Crop(c, 0, 0, 0, -leadHeight-leadGap)
	}
	f.drawPanels(c)
}

func (f figure) drawPanels(c draw.Canvas) {
	if len(f.panels) == 0 {
		return
	}
	tiles := draw.Tiles{Rows: len(f.panels), Cols: len(f.panels[0]), PadX: 14, PadY: 12}
	for j, row := range plot.Align(f.panels, tiles, c) {
		for i, cell := range row {
			if f.panels[j][i] != nil {
				f.panels[j][i].Draw(cell)
			}
		}
	}
}

// inGrid lays panels out row by row in as many columns as suit their number.
func inGrid(panels []*plot.Plot) [][]*plot.Plot {
	return intoRows(panels, onPage.columns(len(panels)))
}

// labelEdges leaves the axis labels to the left column and to the lowest
// panel of each column: the panels between them share their axes.
func labelEdges(grid [][]*plot.Plot) {
	for j, row := range grid {
		for i, p := range row {
			if p == nil {
				continue
			}
			if i > 0 {
				p.Y.Label.Text = ""
			}
			if j+1 < len(grid) && grid[j+1][i] != nil {
				p.X.Label.Text = ""
			}
		}
	}
}

// gridHeight is the height that rows of panels need.
func gridHeight(rows int, each vg.Length) vg.Length {
	return headHeight + 2*figureMargin + 18 + each*vg.Length(rows)
}
