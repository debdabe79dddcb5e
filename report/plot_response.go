package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// responseFigure shows the tap response: all strings over each other, then
// each string beside the median of all.
func responseFigure(r *result.Results) *figure {
	var with []result.String
	for _, s := range r.Strings {
		if s.Tap != nil && s.Tap.Response != nil && len(s.Tap.Response.Bands) > 1 {
			with = append(with, s)
		}
	}
	if len(with) == 0 {
		return nil
	}
	panels := []*plot.Plot{overlaidResponse(with)}
	for _, s := range with {
		if len(with) > 1 && len(s.Tap.Response.AgainstMedianDB) > 1 {
			panels = append(panels, againstMedian(s))
		}
	}
	grid := [][]*plot.Plot{panels[:1]}
	if len(panels) > 1 {
		grid = inGrid(panels[1:])
	}
	return &figure{
		name: "response", title: "Tap response by string, beside the median of all",
		legend:  "pickup times tap, for comparison only; shade: interval over the taps; gaps: noise within 10 dB",
		caption: responseCaption(with), panels: grid, height: headHeight + 30 + 150*vg.Length(len(grid)),
	}
}

func overlaidResponse(with []result.String) *plot.Plot {
	p := newPanel("", "Hz", "dB")
	logFrequency(p, 50, 16000, false)
	steps(&p.Y, -40, 20, 10, 0)
	gridLines(p, true, true)
	for _, s := range with {
		hz, level, low, high := bandLines(s.Tap.Response.Bands)
		p.Add(ribbon(hz, low, high, faded(stringInk(s.Number), 0.18)))
		p.Add(curve(hz, level, stringInk(s.Number), lineMain))
	}
	return p
}

func againstMedian(s result.String) *plot.Plot {
	ink := stringInk(s.Number)
	p := newPanel(stringName(s), "Hz", "dB")
	logFrequency(p, 50, 16000, false)
	steps(&p.Y, -18, 18, 6, 0)
	gridLines(p, true, true)
	p.Add(horizontalRule(0, inkAxis, lineThin))
	hz, level, low, high := bandLines(s.Tap.Response.AgainstMedianDB)
	p.Add(ribbon(hz, low, high, faded(ink, 0.22)), curve(hz, level, ink, lineMain))
	if q := s.Tap.Response.HighDB; q.Known() {
		st := textStyle(sizeSmall, inkQuiet, draw.XRight, draw.YTop)
		p.Add(corner(fmt.Sprintf("1–4 kHz %s dB", signed(q.Estimate.Median, 1)), st, true, true))
	}
	return p
}

// bandLines turns bands into lines, with gaps where noise masks a band.
func bandLines(bands []result.Band) (hz, level, low, high []float64) {
	for _, b := range bands {
		v, lo, hi := b.LevelDB, math.NaN(), math.NaN()
		if b.Interval != nil {
			lo, hi = b.Interval.Low, b.Interval.High
		}
		if b.Masked {
			v, lo, hi = math.NaN(), math.NaN(), math.NaN()
		}
		hz, level = append(hz, b.MidHz), append(level, v)
		low, high = append(low, lo), append(high, hi)
	}
	return hz, level, low, high
}

func responseCaption(with []result.String) string {
	dullest, span := -1, 0.0
	lowest, highest := math.Inf(1), math.Inf(-1)
	for i, s := range with {
		q := s.Tap.Response.HighDB
		if !q.Known() {
			continue
		}
		if v := q.Estimate.Median; v < lowest {
			lowest, dullest = v, i
		}
		highest = math.Max(highest, q.Estimate.Median)
	}
	if span = highest - lowest; dullest < 0 || len(with) < 2 {
		return "Each string's taps by frequency; no other string to compare with."
	}
	return fmt.Sprintf("String %s has the least treble, %.1f dB below the brightest string from 1 to 4 kHz.",
		stringName(with[dullest]), span)
}
