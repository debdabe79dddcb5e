package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// sweepFigure shows the true relative response of each sweep, with its
// distortion and its noise on the same axes.
func sweepFigure(r *result.Results) *figure {
	var panels []*plot.Plot
	for _, s := range r.Sweeps {
		if len(s.Hz) > 1 {
			panels = append(panels, sweepPanel(r, s))
		}
	}
	if len(panels) == 0 {
		return nil
	}
	grid := make([][]*plot.Plot, len(panels))
	for i, p := range panels {
		grid[i] = []*plot.Plot{p}
	}
	return &figure{
		name: "sweep", title: "Response by sweep",
		legend:  "thick: response re its mean from 200 Hz to 2 kHz; thin: distortion of orders 2 to 5; shade: noise",
		caption: sweepCaption(r.Sweeps[0]), panels: grid, height: headHeight + 20 + 260*vg.Length(len(grid)),
	}
}

func sweepPanel(r *result.Results, s result.Sweep) *plot.Plot {
	title := "whole bridge"
	ink := stringInks[0]
	if s.String > 0 && s.String <= len(r.Strings) {
		title, ink = stringName(r.Strings[s.String-1]), stringInk(s.String)
	}
	p := newPanel(title, "Hz", "dB")
	logFrequency(p, 20, 20000, false)
	top := 12.0
	for _, v := range s.MagnitudeDB {
		top = math.Max(top, v+3)
	}
	steps(&p.Y, -90, math.Ceil(top/15)*15, 15, 0)
	if len(s.SNRDB) == len(s.Hz) {
		p.Add(noiseShade(s))
	}
	gridLines(p, true, true)
	for _, d := range s.Distortion {
		p.Add(curve(d.Hz, d.LevelDB, faded(inkQuiet, 0.9-0.18*float64(d.Order-2)), lineThin))
		if n := len(d.Hz); n > 0 && d.LevelDB[n/3] > -88 {
			at := n / 3
			p.Add(note(fmt.Sprint(d.Order), d.Hz[at], d.LevelDB[at], textStyle(sizeSmall, inkQuiet, draw.XCenter, draw.YBottom), 0, 2))
		}
	}
	p.Add(curve(s.Hz, s.MagnitudeDB, ink, 2))
	return p
}

// noiseShade fills up to the noise that lies SNRDB below the response.
func noiseShade(s result.Sweep) mark {
	low, high := make([]float64, len(s.Hz)), make([]float64, len(s.Hz))
	for i := range s.Hz {
		low[i], high[i] = -90, math.Max(-90, s.MagnitudeDB[i]-s.SNRDB[i])
	}
	return ribbon(s.Hz, low, high, inkBand)
}

func sweepCaption(s result.Sweep) string {
	words := "The response"
	switch {
	case s.LowMinus3Hz != nil && s.HighMinus3Hz != nil:
		words += fmt.Sprintf(" is within 3 dB from %s to %s Hz", hzLabel(math.Round(*s.LowMinus3Hz)), hzLabel(math.Round(*s.HighMinus3Hz)))
	case s.LowMinus3Hz != nil:
		words += fmt.Sprintf(" falls by 3 dB at %.0f Hz", *s.LowMinus3Hz)
	default:
		words += " has no 3 dB point inside the sweep"
	}
	if s.CornerHz.Known() {
		words += fmt.Sprintf("; a first-order corner fits at %.1f Hz", s.CornerHz.Estimate.Median)
	}
	if len(s.Peaks) > 0 {
		words += fmt.Sprintf("; the highest peak stands at %.0f Hz (Q %.1f)", s.Peaks[0].Hz, s.Peaks[0].Q)
	}
	return words + "."
}
