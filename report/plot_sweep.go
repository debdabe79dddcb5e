package report

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// mostSweeps are drawn, a figure each.
const mostSweeps = 12

// sweepFigures show each sweep: its response over the noise, and below it
// group delay, impulse response, distortion and signal to noise.
func sweepFigures(r *result.Results) []figure {
	var out []figure
	for _, s := range r.Sweeps {
		if len(s.Hz) < 2 || len(s.MagnitudeDB) != len(s.Hz) || len(out) == mostSweeps {
			continue
		}
		name := "sweep"
		if len(out) > 0 {
			name = fmt.Sprintf("sweep-%d", len(out)+1)
		}
		out = append(out, sweepFigure(r, s, name))
	}
	return out
}

func sweepFigure(r *result.Results, s result.Sweep, name string) figure {
	at, ink := "whole bridge", stringInks[0]
	if s.String > 0 {
		ink, at = stringInk(s.String), "string "+sweptString(r, s.String)
	}
	panels := [][]*plot.Plot{{delayPanel(s, ink), impulsePanel(s, ink)}, {distortionPanel(s), snrPanel(s, ink)}}
	return figure{
		name: name, title: "Response by sweep, " + at,
		legend:  "all from player to recorder; 0 dB: mean of 200 Hz to 2 kHz; shade: noise",
		caption: sweepCaption(s), lead: magnitudePanel(s, ink), panels: panels, height: gridHeight(len(panels), 135) + leadHeight + 12,
	}
}

// sweptString is "4 C2" as far as it is known.
func sweptString(r *result.Results, number int) string {
	if number <= len(r.Strings) {
		return stringName(r.Strings[number-1])
	}
	return fmt.Sprint(number)
}

func magnitudePanel(s result.Sweep, ink color.RGBA) *plot.Plot {
	p := newPanel("", "Hz", "dB")
	low, high := sweepRangeHz(s)
	logFrequency(p, low, high, false)
	bottom, top := magnitudeRange(s)
	steps(&p.Y, bottom, top, niceStep(top-bottom, 6), 0)
	if len(s.SNRDB) == len(s.Hz) {
		p.Add(noiseShade(s, bottom))
	}
	gridLines(p, true, true)
	edges := edgesHz(s)
	for _, hz := range edges {
		p.Add(verticalRule(hz, inkQuiet, lineThin, 4, 3))
	}
	p.Add(edgeNames(edges, math.Sqrt(low*high)))
	p.Add(curve(s.Hz, s.MagnitudeDB, ink, 2))
	p.Add(peakNames(s.Peaks, edges))
	return p
}

// edgesHz are the −3 dB points that lie within the sweep.
func edgesHz(s result.Sweep) []float64 {
	var edges []float64
	for _, hz := range []*float64{s.LowMinus3Hz, s.HighMinus3Hz} {
		if hz != nil {
			edges = append(edges, *hz)
		}
	}
	return edges
}

// edgeNames stand at the foot of the edges' rules, on the side of the middle,
// one above the other where they would meet.
func edgeNames(edgesHz []float64, middleHz float64) mark {
	return func(c draw.Canvas, x, _ func(float64) vg.Length) {
		var taken []vg.Rectangle
		for _, hz := range edgesHz {
			st, words := textStyle(sizeSmall, inkQuiet, draw.XLeft, draw.YBottom), "−3 dB at "+hzWords(hz)
			pt := vg.Point{X: min(x(hz)+3, c.Max.X-st.Width(words)), Y: c.Min.Y + 3}
			if hz > middleHz {
				st.XAlign, pt.X = draw.XRight, max(x(hz)-3, c.Min.X+st.Width(words))
			}
			if meetsOther(wordsBox(st, pt, words), taken, -1) {
				pt.Y += sizeSmall + 3
			}
			taken = append(taken, wordsBox(st, pt, words))
			c.FillText(st, pt, words)
		}
	}
}

// peakNames write Q above each resonance or beside it, the highest first and
// none over another or over the rules that stand at the edges.
func peakNames(peaks []result.Peak, edgesHz []float64) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		var taken []vg.Rectangle
		for _, hz := range edgesHz {
			taken = append(taken, vg.Rectangle{Min: vg.Point{X: x(hz) - 1, Y: c.Min.Y}, Max: vg.Point{X: x(hz) + 1, Y: c.Max.Y}})
		}
		for _, k := range highestFirst(peaks) {
			words := "Q " + Figures(roundTo(k.Q, 1))
			for _, side := range []text.XAlignment{draw.XCenter, draw.XLeft, draw.XRight} {
				st := textStyle(sizeSmall, inkText, side, draw.YBottom)
				pt := vg.Point{X: x(k.Hz) + 4 + 8*vg.Length(side), Y: min(y(k.LevelDB)+3, c.Max.Y-sizeSmall)}
				box := wordsBox(st, pt, words)
				if box.Min.X < c.Min.X || box.Max.X > c.Max.X || meetsOther(box, taken, -1) {
					continue
				}
				taken = append(taken, box)
				c.FillText(st, pt, words)
				break
			}
		}
	}
}

func highestFirst(peaks []result.Peak) []result.Peak {
	out := slices.Clone(peaks)
	slices.SortStableFunc(out, func(a, b result.Peak) int { return cmp.Compare(b.LevelDB, a.LevelDB) })
	return out
}

// sweepRangeHz is what the sweep covers, widened to a labelled frequency.
func sweepRangeHz(s result.Sweep) (low, high float64) {
	low, high = 20, 20000
	for low > 1.3*s.Hz[0] && low > 10 {
		low /= 2
	}
	return low, math.Max(high, s.Hz[len(s.Hz)-1])
}

// magnitudeRange holds all of the response and some of the noise below it.
func magnitudeRange(s result.Sweep) (bottom, top float64) {
	top, least := 6.0, 0.0
	for i, v := range s.MagnitudeDB {
		if !finite(v) {
			continue
		}
		top = math.Max(top, v+6)
		if len(s.SNRDB) != len(s.Hz) || s.SNRDB[i] > 10 {
			least = math.Min(least, v)
		}
	}
	return math.Max(-90, math.Floor((least-5)/10)*10), math.Ceil(top/10) * 10
}

// noiseShade fills up to the noise that lies SNRDB below the response.
func noiseShade(s result.Sweep, bottom float64) mark {
	low, high := make([]float64, len(s.Hz)), make([]float64, len(s.Hz))
	for i := range s.Hz {
		low[i], high[i] = bottom, math.Max(bottom, s.MagnitudeDB[i]-s.SNRDB[i])
	}
	return ribbon(s.Hz, low, high, inkBand)
}

// delayPanel leaves out what noise hides, and draws the range that holds all
// but the ends' rare extremes.
func delayPanel(s result.Sweep, ink color.RGBA) *plot.Plot {
	p := newPanel("Group delay, ms", "Hz", "")
	logFrequency(p, 20, 20000, true)
	delay := make([]float64, len(s.GroupDelayMS))
	var seen []float64
	for i, v := range s.GroupDelayMS {
		delay[i] = v
		if !finite(v) || len(s.SNRDB) == len(s.GroupDelayMS) && s.SNRDB[i] < 20 {
			delay[i] = math.NaN()
		} else {
			seen = append(seen, v)
		}
	}
	low, high := rangeOf(seen, 0.02)
	step := niceStep(high-low, 5)
	steps(&p.Y, math.Floor(low/step)*step, math.Ceil(high/step)*step, step, digitsFor(step))
	gridLines(p, true, true)
	p.Add(curve(s.Hz, delay, ink, lineMain))
	return p
}

// rangeOf is where all but that share at either end of the values lies, at
// least 0.1 wide.
func rangeOf(values []float64, share float64) (low, high float64) {
	if len(values) == 0 {
		return 0, 1
	}
	sorted := slices.Sorted(slices.Values(values))
	k := int(share * float64(len(sorted)))
	low, high = sorted[k], sorted[len(sorted)-1-k]
	if high-low < 0.1 {
		low, high = low-0.05, low+0.05
	}
	return low, high
}

func impulsePanel(s result.Sweep, ink color.RGBA) *plot.Plot {
	p := newPanel("Impulse response over ms", "", "")
	steps(&p.X, -2, 20, 5, 0)
	steps(&p.Y, -1, 1, 0.5, 1)
	gridLines(p, true, true)
	p.Add(curve(s.ImpulseMS, s.Impulse, ink, lineThin*1.4))
	return p
}

func distortionPanel(s result.Sweep) *plot.Plot {
	p := newPanel("Distortion by order, dB", "Hz", "")
	logFrequency(p, 20, 20000, true)
	top := -20.0
	for _, d := range s.Distortion {
		for _, v := range d.LevelDB {
			if finite(v) {
				top = math.Max(top, v)
			}
		}
	}
	top = math.Min(20, math.Ceil(top/20)*20)
	steps(&p.Y, top-80, top, 20, 0)
	gridLines(p, true, true)
	for _, d := range s.Distortion {
		ink := stringInk(d.Order + 3)
		hz, level := withGaps(d.Hz, d.LevelDB)
		p.Add(curve(hz, level, ink, lineMain))
		if n := len(d.Hz); n > 0 {
			st := textStyle(sizeSmall, legible(ink), draw.XLeft, draw.YCenter)
			st.Font = typeface(sizeSmall, true)
			p.Add(note(fmt.Sprint(d.Order), d.Hz[n-1], d.LevelDB[n-1], st, 3, 0))
		}
	}
	if noDistortion(s) {
		p.Add(corner("none stands out of the noise", textStyle(sizeSmall, inkQuiet, draw.XLeft, draw.YTop), true, true))
	}
	return p
}

func noDistortion(s result.Sweep) bool {
	for _, d := range s.Distortion {
		if len(d.Hz) > 0 {
			return false
		}
	}
	return true
}

// withGaps breaks a curve where frequencies were left out.
func withGaps(hz, level []float64) (h, l []float64) {
	for i := range min(len(hz), len(level)) {
		if i > 0 && hz[i] > 1.1*hz[i-1] {
			h, l = append(h, hz[i]), append(l, math.NaN())
		}
		h, l = append(h, hz[i]), append(l, level[i])
	}
	return h, l
}

func snrPanel(s result.Sweep, ink color.RGBA) *plot.Plot {
	p := newPanel("Signal to noise, dB", "Hz", "")
	logFrequency(p, 20, 20000, true)
	top := 40.0
	for _, v := range s.SNRDB {
		if finite(v) {
			top = math.Max(top, v)
		}
	}
	steps(&p.Y, 0, math.Min(140, math.Ceil(top/20)*20), 20, 0)
	gridLines(p, true, true)
	p.Add(horizontalRule(10, inkAxis, lineThin, 4, 3))
	if len(s.SNRDB) != len(s.Hz) {
		p.Add(corner("no silence shows the noise", textStyle(sizeSmall, inkQuiet, draw.XLeft, draw.YTop), true, true))
		return p
	}
	p.Add(curve(s.Hz, s.SNRDB, ink, lineMain))
	return p
}

func sweepCaption(s result.Sweep) string {
	words := "The response"
	switch {
	case s.LowMinus3Hz != nil && s.HighMinus3Hz != nil:
		words += fmt.Sprintf(" is within 3 dB from %s to %s", hzWords(*s.LowMinus3Hz), hzWords(*s.HighMinus3Hz))
	case s.LowMinus3Hz != nil:
		words += fmt.Sprintf(" falls by 3 dB at %s", hzWords(*s.LowMinus3Hz))
	case s.HighMinus3Hz != nil:
		words += fmt.Sprintf(" falls by 3 dB at %s", hzWords(*s.HighMinus3Hz))
	default:
		words += " has no −3 dB point inside the sweep"
	}
	if s.CornerHz.Known() {
		words += fmt.Sprintf("; a first-order corner fits at %s Hz", Figures(s.CornerHz.Estimate.Median))
	}
	if len(s.Peaks) > 0 {
		k := highestFirst(s.Peaks)[0]
		words += fmt.Sprintf("; the highest resonance stands at %s (Q %s)", hzWords(k.Hz), Figures(roundTo(k.Q, 1)))
	}
	return words + "."
}
