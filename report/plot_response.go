package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"

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
	var panels []*plot.Plot
	for _, s := range with {
		if len(with) > 1 && len(s.Tap.Response.AgainstMedianDB) > 1 {
			panels = append(panels, againstMedian(s))
		}
	}
	f := figure{
		name: "response", title: "Tap response by string",
		legend: fmt.Sprintf("pickup times tap, for comparison only; 1/%d octave; line: median of the taps; shade: interval; noise within 10 dB left out",
			with[0].Tap.Response.BandsPerOctave),
		caption: responseCaption(with), lead: overlaidResponse(with), height: gridHeight(0, 0) + leadHeight,
	}
	if len(panels) > 0 {
		f.title += ", and beside the median of all"
		f.panels = inGrid(panels)
		f.height = gridHeight(len(f.panels), 125) + leadHeight + 12
	}
	return &f
}

// overlaidResponse lays all strings over each other, each named at its end.
func overlaidResponse(with []result.String) *plot.Plot {
	p := newPanel("", "Hz", "dB re 200 Hz to 2 kHz")
	logFrequency(p, 50, 16000, false)
	low, high := responseRange(with)
	steps(&p.Y, low, high, niceStep(high-low, 6), 0)
	gridLines(p, true, true)
	var labels []endLabel
	var ends []float64
	for _, s := range with {
		hz, level, _, _ := bandLines(s.Tap.Response.Bands)
		p.Add(curve(hz, level, stringInk(s.Number), lineMain, stringDashes(s.Number)...))
		if i := lastKnown(level); i >= 0 {
			labels = append(labels, endLabel{stringName(s), level[i], stringInk(s.Number)})
			ends = append(ends, hz[i])
		}
	}
	p.Add(endLabels(func(i int) float64 { return ends[i] }, labels))
	return p
}

// lastKnown is the index of the last finite value, or -1.
func lastKnown(values []float64) int {
	for i := len(values) - 1; i >= 0; i-- {
		if finite(values[i]) {
			return i
		}
	}
	return -1
}

// responseRange is from below the lowest level drawn to above the highest,
// at most 60 dB.
func responseRange(with []result.String) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range with {
		_, level, _, _ := bandLines(s.Tap.Response.Bands)
		for _, v := range level {
			if finite(v) {
				low, high = math.Min(low, v), math.Max(high, v)
			}
		}
	}
	if !finite(low) {
		return -40, 10
	}
	high = math.Ceil((high+1)/5) * 5
	return math.Max(math.Floor((low-1)/5)*5, high-60), high
}

// againstMedian is one string less the median of all, with the interval over
// its taps.
func againstMedian(s result.String) *plot.Plot {
	ink := stringInk(s.Number)
	p := newPanel(stringName(s), "Hz", "dB")
	logFrequency(p, 50, 16000, true)
	steps(&p.Y, -15, 15, 5, 0)
	gridLines(p, true, true)
	p.Add(horizontalRule(0, inkAxis, lineThin))
	hz, level, low, high := bandLines(s.Tap.Response.AgainstMedianDB)
	p.Add(ribbon(hz, low, high, faded(ink, 0.22)), curve(hz, level, ink, lineMain))
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

// responseCaption names the string with the least treble, and how far it is
// from the one with most.
func responseCaption(with []result.String) string {
	least, most := -1, -1
	for i, s := range with {
		q := s.Tap.Response.HighDB
		if !q.Known() {
			continue
		}
		if least < 0 || q.Estimate.Median < with[least].Tap.Response.HighDB.Estimate.Median {
			least = i
		}
		if most < 0 || q.Estimate.Median > with[most].Tap.Response.HighDB.Estimate.Median {
			most = i
		}
	}
	if least < 0 || least == most {
		return "Too few strings with treble above the noise to compare."
	}
	dull, bright := with[least], with[most]
	words := func(s result.String) string {
		q := s.Tap.Response.HighDB
		return signed(q.Estimate.Median, 1) + " dB" + intervalWords(q, 1, signed)
	}
	return fmt.Sprintf("Treble (%s) differs most between string %s, %s, and string %s, %s.",
		rangeWords(dull.Tap.Response.HighRangeHz), stringName(dull), words(dull), stringName(bright), words(bright))
}

// rangeWords is "2k to 8k Hz".
func rangeWords(hz [2]float64) string { return hzLabel(hz[0]) + " to " + hzLabel(hz[1]) + " Hz" }
