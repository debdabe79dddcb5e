package report

import (
	"image/color"
	"math"
	"slices"
	"strconv"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Inks of every figure. Lightness differs from string to string so that a
// figure printed in grey, or seen by a colour-blind reader, stays readable;
// direct labels carry what colour cannot.
var (
	inkText  = color.RGBA{0x26, 0x2b, 0x33, 0xff}
	inkQuiet = color.RGBA{0x6a, 0x72, 0x7d, 0xff}
	inkGrid  = color.RGBA{0xe4, 0xe6, 0xe9, 0xff}
	inkAxis  = color.RGBA{0xa9, 0xaf, 0xb7, 0xff}
	inkBand  = color.RGBA{0xf1, 0xf0, 0xe8, 0xff}
	inkAlarm = color.RGBA{0xb3, 0x26, 0x1e, 0xff}
	paper    = color.RGBA{0xff, 0xff, 0xff, 0xff}
)

var stringInks = []color.RGBA{
	{0x23, 0x37, 0x95, 0xff}, {0xda, 0x68, 0x47, 0xff}, {0x27, 0x7d, 0x6a, 0xff}, {0x71, 0x49, 0x7c, 0xff},
	{0xc1, 0x7d, 0x0f, 0xff}, {0xa1, 0x36, 0x14, 0xff}, {0x5f, 0x6e, 0xd3, 0xff}, {0x46, 0x49, 0x48, 0xff},
	{0x93, 0x80, 0x9c, 0xff}, {0x1f, 0x1e, 0x12, 0xff}, {0x81, 0x29, 0x2d, 0xff}, {0x11, 0x9c, 0x78, 0xff},
}

// stringInk is the colour string number keeps in every figure.
func stringInk(number int) color.RGBA {
	return stringInks[(max(number, 1)-1)%len(stringInks)]
}

// stringDashes is the pattern that tells string number from the others where
// their curves share a panel, in grey too.
func stringDashes(number int) []vg.Length {
	patterns := [][]vg.Length{nil, {7, 2}, {2, 1.5}, {8, 2, 2, 2}, {4, 2}, {8, 2, 2, 2, 2, 2}}
	return patterns[(max(number, 1)-1)%len(patterns)]
}

// faded is c mixed into the paper: opaque, so that it prints the same
// everywhere. share 1 is c, 0 is paper.
func faded(c color.RGBA, share float64) color.RGBA {
	mix := func(v uint8) uint8 { return uint8(math.Round(float64(v)*share + 255*(1-share))) }
	return color.RGBA{mix(c.R), mix(c.G), mix(c.B), 0xff}
}

// legible is c, darkened where words in it would not reach a contrast of 4.5
// to 1 on paper (WCAG 2.2, criterion 1.4.3).
func legible(c color.RGBA) color.RGBA {
	for 1.05/(luminance(c)+0.05) < 4.5 {
		c = color.RGBA{uint8(float64(c.R) * 0.95), uint8(float64(c.G) * 0.95), uint8(float64(c.B) * 0.95), 0xff}
	}
	return c
}

// luminance is the relative luminance of WCAG 2.2 (sRGB, IEC 61966-2-1).
func luminance(c color.RGBA) float64 {
	linear := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

// Sizes in points. On a page of 600 pixels the smallest letters are 13 pixels
// high, in the phone's layout 12.
const (
	sizeTitle = vg.Length(13)
	sizeLabel = vg.Length(10.5)
	sizeTick  = vg.Length(9.5)
	sizeSmall = vg.Length(9.2)
	lineMain  = vg.Length(1.4)
	lineThin  = vg.Length(0.7)
)

func typeface(size vg.Length, bold bool) font.Font {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return font.From(f, size)
}

func textStyle(size vg.Length, ink color.Color, x text.XAlignment, y text.YAlignment) text.Style {
	return text.Style{Color: ink, Font: typeface(size, false), XAlign: x, YAlign: y, Handler: optical{Handler: plot.DefaultTextHandler}}
}

// capHeight is the height of figures and capitals of the typeface, per size.
const capHeight = 0.69

// optical centres a line of words on the middle of its figures, where plain
// centring takes in the descenders and so sits too low or high.
type optical struct {
	text.Handler
	tick bool // placed by a vertical axis, which lifts its labels by a descent
}

// Draw draws words at pt.
func (o optical) Draw(c vg.Canvas, words string, st text.Style, pt vg.Point) {
	words = withoutGaps(words)
	if st.YAlign == draw.YCenter && st.Rotation == 0 {
		ext := o.Extents(st.Font)
		drawn := -st.Height(words)/2 - ext.Ascent + st.Font.Size
		pt.Y -= drawn + capHeight/2*st.Font.Size
		if o.tick {
			pt.Y -= ext.Descent
		}
	}
	o.Handler.Draw(c, words, st, pt)
}

// newPanel is an empty plot in the house style: no box, quiet ticks.
func newPanel(title, xLabel, yLabel string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil // the figure has one ground
	if title != "" {
		addTitle(p, title)
	}
	p.X.Label.Text, p.Y.Label.Text = xLabel, yLabel
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font = typeface(sizeTick, false)
		a.Label.TextStyle.Color = inkQuiet
		a.Tick.Label.Font = typeface(sizeTick, false)
		a.Tick.Label.Color = inkText
		a.Tick.LineStyle.Width = 0
		a.Tick.Length = 3
		a.LineStyle.Color, a.LineStyle.Width = inkAxis, lineThin
		a.Padding = 2
	}
	p.X.Tick.Label.Handler = optical{Handler: plot.DefaultTextHandler}
	p.Y.Tick.Label.Handler = optical{Handler: plot.DefaultTextHandler, tick: true}
	return p
}

// addTitle writes a panel's title flush with its left edge.
func addTitle(p *plot.Plot, title string) {
	st := textStyle(sizeLabel, inkText, draw.XLeft, draw.YBottom)
	st.Font = typeface(sizeLabel, true)
	p.Title.Text = " " // keeps the room
	p.Title.Padding = 2
	p.Title.TextStyle = st
	p.Add(mark(func(c draw.Canvas, _, _ func(float64) vg.Length) {
		c.FillText(st, vg.Point{X: c.Min.X, Y: c.Max.Y + 3}, shortened(st, title, c.Max.X-c.Min.X))
	}))
}

// Frequencies that get a tick and a label on a logarithmic axis.
var logTicks = []float64{10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000, 100000}

func hzLabel(hz float64) string {
	if hz >= 1000 {
		return strconv.FormatFloat(hz/1000, 'g', 4, 64) + "k"
	}
	return strconv.FormatFloat(hz, 'g', 4, 64)
}

// logFrequency makes x a logarithmic frequency axis from low to high Hz.
func logFrequency(p *plot.Plot, lowHz, highHz float64, sparse bool) {
	p.X.Scale = logScale{}
	p.X.Min, p.X.Max = lowHz, highHz
	p.X.Tick.Marker = frequencyTicks{sparse: sparse}
}

// frequencyTicks stand at 1, 2 and 5 of each decade. Decades get their label
// first, the others where there is room.
type frequencyTicks struct {
	sparse bool      // labels decades only
	room   vg.Length // of the axis; 0: enough
}

// Ticks lists the ticks from low to high Hz.
func (t frequencyTicks) Ticks(low, high float64) []plot.Tick {
	var ticks []plot.Tick
	for _, hz := range logTicks {
		if hz >= low*0.999 && hz <= high*1.001 {
			ticks = append(ticks, plot.Tick{Value: hz})
		}
	}
	st := textStyle(sizeTick, nil, draw.XCenter, draw.YTop)
	type stretch struct{ from, to vg.Length }
	var taken []stretch
	for _, digit := range []float64{1, 2, 5} {
		for i, tick := range ticks {
			if t.sparse && digit > 1 || math.Abs(firstDigit(tick.Value)-digit) > 0.1 {
				continue
			}
			label := hzLabel(tick.Value)
			at, half := t.room*vg.Length(logScale{}.Normalize(low, high, tick.Value)), st.Width(label)/2+2
			own := stretch{at - half, at + half}
			if t.room > 0 && slices.ContainsFunc(taken, func(s stretch) bool { return own.from < s.to && s.from < own.to }) {
				continue
			}
			ticks[i].Label, taken = label, append(taken, own)
		}
	}
	return ticks
}

// firstDigit is 1 to 10, exclusive, for a positive number.
func firstDigit(v float64) float64 { return v / math.Pow(10, math.Floor(math.Log10(v)+1e-9)) }

// logScale is logarithmic, and puts what has no logarithm far to the left.
type logScale struct{}

// Normalize is where x lies between low and high, 0 to 1.
func (logScale) Normalize(low, high, x float64) float64 {
	if !(x > 0) {
		return -10
	}
	return math.Log(x/low) / math.Log(high/low)
}

// steps makes an axis with labelled ticks every step.
func steps(a *plot.Axis, low, high, step float64, digits int) {
	a.Min, a.Max = low, high
	a.Tick.Marker = plot.TickerFunc(func(lo, hi float64) []plot.Tick {
		var ticks []plot.Tick
		for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
			v := k * step
			label := strconv.FormatFloat(math.Abs(v), 'f', digits, 64)
			if v < -step*1e-9 {
				label = "−" + label
			}
			ticks = append(ticks, plot.Tick{Value: v, Label: label})
		}
		return ticks
	})
}

// niceStep is a step of 1, 2 or 5 times a power of ten that makes at most
// count intervals over span.
func niceStep(span float64, count int) float64 {
	if !(span > 0) {
		return 1
	}
	raw := span / float64(count)
	base := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*base >= raw*(1-1e-9) {
			return m * base
		}
	}
	return 10 * base
}

// digitsFor is how many decimals a step needs.
func digitsFor(step float64) int {
	return max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
}
