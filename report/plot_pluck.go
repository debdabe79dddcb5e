package report

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// spectrumFigure shows each string's plucked spectrum with its partials.
func spectrumFigure(r *result.Results) *figure {
	low, high := spectrumRange(r)
	var with []result.String
	for _, s := range r.Strings {
		if s.Pluck != nil && s.Pluck.Spectrum != nil && len(s.Pluck.Spectrum.Hz) > 1 {
			with = append(with, s)
		}
	}
	if len(with) == 0 {
		return nil
	}
	var panels []*plot.Plot
	for _, s := range with {
		panels = append(panels, spectrumPanel(s, low, high))
	}
	grid := inGrid(panels)
	return &figure{
		name: "spectrum", title: "Plucked spectrum and partials",
		legend:  "circles: partials found, with their number; dots: left out of the fit; dB re the strongest",
		caption: spectrumCaption(r), panels: grid, height: gridHeight(len(grid), 140),
	}
}

// spectrumRange is one frequency axis for all panels: from below the lowest
// fundamental to above the highest partial found.
func spectrumRange(r *result.Results) (low, high float64) {
	low, high = 40, 2000
	for _, s := range r.Strings {
		if s.Pluck == nil || s.Pluck.Spectrum == nil {
			continue
		}
		for _, part := range s.Pluck.Spectrum.Partials {
			if part.Hz > 0 && finite(part.Hz) {
				low, high = math.Min(low, part.Hz*0.7), math.Max(high, part.Hz*1.3)
			}
		}
	}
	return math.Max(low, 15), math.Min(high, 20000)
}

// spectrumPanel is one string's spectrum.
func spectrumPanel(s result.String, low, high float64) *plot.Plot {
	sp, ink := s.Pluck.Spectrum, stringInk(s.Number)
	title := stringName(s)
	if est := s.Pluck.F1Hz.Estimate; est != nil {
		title += fmt.Sprintf(" · f1 %.2f Hz", est.Median)
		if c := s.Pluck.Cents.Estimate; c != nil {
			title += fmt.Sprintf(", %s cents", signed(c.Median, 1))
		}
	}
	p := newPanel(title, "Hz", "dB")
	logFrequency(p, low, high, false)
	steps(&p.Y, -90, 12, 30, 0)
	gridLines(p, true, true)
	p.Add(curve(sp.Hz, sp.LevelDB, faded(ink, 0.8), lineThin))
	p.Add(partialMarks(sp.Partials, ink))
	return p
}

// partialMarks is a circle on each partial, and numbers over as many of them
// as have room beside the others' lines.
func partialMarks(partials []result.Partial, ink color.RGBA) mark {
	partials = slices.DeleteFunc(slices.Clone(partials), func(p result.Partial) bool {
		return !(p.Hz > 0) || !finite(p.Hz) || !finite(p.LevelDB)
	})
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		at := make([]vg.Point, len(partials))
		var taken []vg.Rectangle
		for i, part := range partials {
			at[i] = vg.Point{X: x(part.Hz), Y: clampTo(y(part.LevelDB), c.Min.Y, c.Max.Y)}
			stem := around(at[i], ringRadius)
			stem.Min.Y = c.Min.Y
			taken = append(taken, stem)
			if at[i].X < c.Min.X || at[i].X > c.Max.X {
				continue
			}
			style := draw.GlyphStyle{Color: ink, Radius: ringRadius, Shape: draw.RingGlyph{}}
			if !part.Used {
				style.Radius, style.Shape = 1.2, draw.CircleGlyph{}
			}
			c.DrawGlyph(style, at[i])
		}
		st := textStyle(sizeSmall, inkText, draw.XCenter, draw.YBottom)
		for i, part := range partials {
			words, pt := strconv.Itoa(part.N), vg.Point{X: at[i].X, Y: at[i].Y + 3}
			box := wordsBox(st, pt, words)
			if box.Max.X > c.Max.X || box.Min.X < c.Min.X || meetsOther(box, taken, i) {
				continue
			}
			taken = append(taken, box)
			c.FillText(st, pt, words)
		}
	}
}

const ringRadius = vg.Length(2.2)

func around(pt vg.Point, radius vg.Length) vg.Rectangle {
	r := vg.Point{X: radius, Y: radius}
	return vg.Rectangle{Min: pt.Sub(r), Max: pt.Add(r)}
}

// meetsOther tells whether box meets any taken place but the one it belongs
// to.
func meetsOther(box vg.Rectangle, taken []vg.Rectangle, own int) bool {
	for i, t := range taken {
		if i != own && overlap(box, t) {
			return true
		}
	}
	return false
}

func spectrumCaption(r *result.Results) string {
	worst := -1
	for i, s := range r.Strings {
		if s.Pluck == nil || !s.Pluck.Cents.Known() {
			continue
		}
		if worst < 0 || math.Abs(s.Pluck.Cents.Estimate.Median) > math.Abs(r.Strings[worst].Pluck.Cents.Estimate.Median) {
			worst = i
		}
	}
	if worst < 0 {
		return "No string's pitch could be told."
	}
	s := r.Strings[worst]
	return fmt.Sprintf("Furthest from its target: string %s, %s cents%s.",
		stringName(s), signed(s.Pluck.Cents.Estimate.Median, 1), intervalWords(s.Pluck.Cents, 1, signed))
}

// decayFigure shows how each string's fundamental dies away, and the fit.
func decayFigure(r *result.Results) *figure {
	longest := 0.5
	for _, s := range r.Strings {
		if d := decayOf(s); d != nil {
			longest = math.Max(longest, d.TimeS[len(d.TimeS)-1])
		}
	}
	var panels []*plot.Plot
	for _, s := range r.Strings {
		if d := decayOf(s); d != nil {
			panels = append(panels, decayPanel(s, d, longest))
		}
	}
	if len(panels) == 0 {
		return nil
	}
	grid := inGrid(panels)
	return &figure{
		name: "decay", title: "Sustain of the fundamental",
		legend:  "thin: envelope of one pluck, down to the noise (shade); thick: the fit",
		caption: decayCaption(r), panels: grid, height: gridHeight(len(grid), 140),
	}
}

func decayOf(s result.String) *result.DecayCurve {
	if s.Pluck == nil || s.Pluck.Decay == nil || len(s.Pluck.Decay.TimeS) < 2 {
		return nil
	}
	return s.Pluck.Decay
}

func decayPanel(s result.String, d *result.DecayCurve, longest float64) *plot.Plot {
	ink := stringInk(s.Number)
	title := stringName(s) + " · "
	if est := s.Pluck.T60S.Estimate; est != nil {
		title += fmt.Sprintf("T60 %s s", plain(est.Median, secondsDigits(est.Median)))
	} else {
		title += "T60 cannot be told"
	}
	p := newPanel(title, "s", "dB")
	step := niceStep(longest, 6)
	steps(&p.X, 0, longest, step, digitsFor(step))
	steps(&p.Y, -70, 5, 20, 0)
	if d.NoiseDB != nil {
		p.Add(fillBox(0, longest, -70, *d.NoiseDB, inkBand))
	}
	gridLines(p, true, true)
	n := untilNoise(d)
	p.Add(curve(d.TimeS[:n], d.LevelDB[:n], faded(ink, 0.65), lineThin))
	p.Add(curve(d.FitTimeS, d.FitDB, ink, 2))
	return p
}

// untilNoise is how many points come before the envelope sinks into the
// noise, where its level means nothing any more.
func untilNoise(d *result.DecayCurve) int {
	n := min(len(d.TimeS), len(d.LevelDB))
	for i := range n {
		if d.NoiseDB != nil && d.LevelDB[i] < *d.NoiseDB {
			return i
		}
	}
	return n
}

// secondsDigits is one decimal, or two below a second.
func secondsDigits(seconds float64) int {
	if seconds < 1 {
		return 2
	}
	return 1
}

func decayCaption(r *result.Results) string {
	short, long := -1, -1
	for i, s := range r.Strings {
		if s.Pluck == nil || !s.Pluck.T60S.Known() {
			continue
		}
		v := s.Pluck.T60S.Estimate.Median
		if short < 0 || v < r.Strings[short].Pluck.T60S.Estimate.Median {
			short = i
		}
		if long < 0 || v > r.Strings[long].Pluck.T60S.Estimate.Median {
			long = i
		}
	}
	switch {
	case short < 0:
		return "The recordings leave too little decay above the noise for a T60."
	case short == long:
		return fmt.Sprintf("String %s rings for %s (T60).", stringName(r.Strings[short]), t60Words(r.Strings[short]))
	default:
		return fmt.Sprintf("String %s rings longest, T60 %s; string %s shortest, %s.",
			stringName(r.Strings[long]), t60Words(r.Strings[long]), stringName(r.Strings[short]), t60Words(r.Strings[short]))
	}
}

// t60Words is "4.2 s (4.0 to 4.3, n 3)".
func t60Words(s result.String) string {
	q := s.Pluck.T60S
	digits := secondsDigits(q.Estimate.Median)
	return plain(q.Estimate.Median, digits) + " s" + intervalWords(q, digits, plain)
}
