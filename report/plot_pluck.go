package report

import (
	"fmt"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// spectrumFigure shows each string's plucked spectrum with its partials.
func spectrumFigure(r *result.Results) *figure {
	low, high := spectrumRange(r)
	var panels []*plot.Plot
	for _, s := range r.Strings {
		if s.Pluck != nil && s.Pluck.Spectrum != nil && len(s.Pluck.Spectrum.Hz) > 1 {
			panels = append(panels, spectrumPanel(s, low, high))
		}
	}
	if len(panels) == 0 {
		return nil
	}
	grid := inGrid(panels)
	return &figure{
		name: "spectrum", title: "Plucked spectrum and partials",
		legend:  "ticks: partials of the joint fit; open circles: measured partials; dB re the strongest",
		caption: spectrumCaption(r), panels: grid, height: headHeight + 30 + 150*vg.Length(len(grid)),
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
			low, high = math.Min(low, part.Hz*0.7), math.Max(high, part.Hz*1.3)
		}
	}
	return math.Max(low, 15), math.Min(high, 20000)
}

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
	for _, part := range sp.Partials {
		p.Add(partialMark(part, ink))
	}
	return p
}

// partialMark is a circle on the partial and its number over it.
func partialMark(part result.Partial, ink interface {
	RGBA() (r, g, b, a uint32)
}) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		at := vg.Point{X: x(part.Hz), Y: clampTo(y(part.LevelDB), c.Min.Y, c.Max.Y)}
		if at.X < c.Min.X || at.X > c.Max.X {
			return
		}
		c.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: 2.6, Shape: draw.RingGlyph{}}, at)
		if n := part.N; n <= 3 || n == 5 || n == 8 || n == 12 || n%10 == 0 {
			st := textStyle(sizeSmall, inkText, draw.XCenter, draw.YBottom)
			c.FillText(st, vg.Point{X: at.X, Y: at.Y + 3}, strconv.Itoa(n))
		}
	}
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
		stringName(s), signed(s.Pluck.Cents.Estimate.Median, 1), intervalWords(s.Pluck.Cents, 1))
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
		legend:  "thin: envelope of one pluck; thick: the fit; shade: noise in the same band",
		caption: decayCaption(r), panels: grid, height: headHeight + 30 + 150*vg.Length(len(grid)),
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
		title += fmt.Sprintf("T60 %.2g s", est.Median)
		if s.Pluck.T60S.Estimate.Median >= 1 {
			title = fmt.Sprintf("%s · T60 %.1f s", stringName(s), est.Median)
		}
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
	p.Add(curve(d.TimeS, d.LevelDB, faded(ink, 0.65), lineThin))
	p.Add(curve(d.FitTimeS, d.FitDB, ink, 2))
	return p
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
		return fmt.Sprintf("String %s rings for %.1f s (T60).", stringName(r.Strings[short]), r.Strings[short].Pluck.T60S.Estimate.Median)
	default:
		return fmt.Sprintf("String %s rings longest (T60 %.1f s), string %s shortest (%.1f s).",
			stringName(r.Strings[long]), r.Strings[long].Pluck.T60S.Estimate.Median,
			stringName(r.Strings[short]), r.Strings[short].Pluck.T60S.Estimate.Median)
	}
}
