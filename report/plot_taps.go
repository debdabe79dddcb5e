package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// tapFigure shows first motion: every string's taps aligned at onset, each
// panel scaled to its own size, because the direction is what matters here.
func tapFigure(r *result.Results) *figure {
	var panels []*plot.Plot
	for _, s := range r.Strings {
		if s.Tap != nil && drawable(s.Tap.Waveform) {
			panels = append(panels, tapPanel(s))
		}
	}
	if len(panels) == 0 {
		return nil
	}
	grid := inGrid(panels)
	return &figure{
		name: "taps", title: "First motion of the taps",
		legend:  "line: median of the taps; shade: middle half of them; 1: dB re full scale",
		caption: tapCaption(r), panels: grid, height: gridHeight(len(grid), 120),
	}
}

func drawable(w *result.Waveform) bool {
	return w != nil && w.StepMS > 0 && min(len(w.Median), len(w.Low), len(w.High)) > 1
}

func tapPanel(s result.String) *plot.Plot {
	w := s.Tap.Waveform
	ink := stringInk(s.Number)
	times, scaled, peak := scaledTaps(w)
	p := newPanel(stringName(s), "ms from first motion", "")
	step := niceStep(times[len(times)-1]-times[0], 6)
	steps(&p.X, times[0], times[len(times)-1], step, digitsFor(step))
	p.Y.Min, p.Y.Max = -1.15, 1.15
	p.Y.Tick.Marker = plot.ConstantTicks{{Value: -1, Label: "−1"}, {Value: 0, Label: "0"}, {Value: 1, Label: "1"}}
	gridLines(p, false, true)
	p.Add(verticalRule(0, inkAxis, lineThin, 3, 3))
	p.Add(ribbon(times, scaled[1], scaled[2], faded(ink, 0.25)), curve(times, scaled[0], ink, lineMain))
	st := textStyle(sizeSmall, inkText, draw.XRight, draw.YTop)
	if s.Tap.Polarity.Relative == "reversed" {
		st.Color, st.Font = inkAlarm, typeface(sizeSmall, true)
	}
	p.Add(corner(motionWords(s.Tap.Polarity), st, true, true))
	size := textStyle(sizeSmall, inkQuiet, draw.XRight, draw.YBottom)
	p.Add(corner(fmt.Sprintf("1 = %s dB", signed(20*math.Log10(peak), 0)), size, true, false))
	return p
}

// scaledTaps are median, lower and upper quartile as fractions of the largest
// value drawn.
func scaledTaps(w *result.Waveform) (times []float64, scaled [3][]float64, peak float64) {
	n := min(len(w.Median), len(w.Low), len(w.High))
	for i := range n {
		for _, v := range []float64{w.Median[i], w.Low[i], w.High[i]} {
			if finite(v) {
				peak = max(peak, math.Abs(v))
			}
		}
	}
	if peak == 0 {
		peak = 1
	}
	for i := range n {
		times = append(times, w.StartMS+float64(i)*w.StepMS)
		for k, v := range []float64{w.Median[i], w.Low[i], w.High[i]} {
			scaled[k] = append(scaled[k], v/peak)
		}
	}
	return times, scaled, peak
}

func motionWords(v result.Polarity) string {
	total := v.Up + v.Down + v.Undecided
	switch {
	case v.Sign > 0:
		return fmt.Sprintf("up first, %d of %d", v.Up, total)
	case v.Sign < 0:
		return fmt.Sprintf("down first, %d of %d", v.Down, total)
	default:
		return "direction cannot be told"
	}
}

func tapCaption(r *result.Results) string {
	var reversed, unsure []string
	for _, s := range r.Strings {
		if s.Tap == nil {
			continue
		}
		switch s.Tap.Polarity.Relative {
		case "reversed":
			reversed = append(reversed, stringName(s))
		case "same":
		default:
			unsure = append(unsure, stringName(s))
		}
	}
	switch {
	case len(reversed) == 1:
		return fmt.Sprintf("String %s moves the other way first.", reversed[0])
	case len(reversed) > 1:
		return fmt.Sprintf("Strings %s move the other way first.", listWords(reversed))
	case len(unsure) == 1:
		return fmt.Sprintf("String %s: which way the disc is wired cannot be told.", unsure[0])
	case len(unsure) > 1:
		return fmt.Sprintf("Strings %s: which way their discs are wired cannot be told.", listWords(unsure))
	default:
		return "All strings move the same way first."
	}
}
