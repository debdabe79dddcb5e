package report

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// noiseFigure shows the spectrum of silence with its hum lines; with and
// without a hand on the ground where both were recorded.
func noiseFigure(r *result.Results) *figure {
	var drawn []result.Quiet
	for _, q := range r.Quiet {
		if n := min(len(q.PSD.Hz), len(q.PSD.DBFSPerHz)); n > 1 {
			q.PSD.Hz = q.PSD.Hz[:n]
			drawn = append(drawn, q)
		}
	}
	if len(drawn) == 0 {
		return nil
	}
	p := newPanel("", "Hz", "dBFS per Hz")
	low, high := noiseRange(drawn)
	logFrequency(p, 20, 20000, false)
	step := niceStep(high-low, 6)
	steps(&p.Y, low, high, step, 0)
	gridLines(p, true, true)
	for i := len(drawn) - 1; i >= 0; i-- {
		ink := quietInk(i)
		p.Add(curve(drawn[i].PSD.Hz, drawn[i].PSD.DBFSPerHz, ink, lineThin*1.4))
	}
	addHumMarks(p, drawn)
	st := textStyle(sizeSmall, inkText, draw.XRight, draw.YTop)
	for i, q := range drawn {
		st.Color = legible(quietInk(i))
		q.Label = inFont(q.Label, fmt.Sprintf("silence %d", i+1))
		p.Add(cornerLine(quietWords(q), st, i))
	}
	return &figure{
		name: "noise", title: "Noise spectrum", legend: humLegend(drawn[0]),
		caption: noiseCaption(drawn), panels: [][]*plot.Plot{{p}}, height: 270,
	}
}

func humLegend(q result.Quiet) string {
	if q.Hum == nil {
		return "no line of the mains stands out"
	}
	return fmt.Sprintf("numbers: harmonics of the mains, %.2f Hz", q.Hum.MainsHz)
}

func quietInk(i int) color.RGBA {
	if i == 0 {
		return stringInks[0]
	}
	return faded(stringInks[1], 0.8)
}

func quietWords(q result.Quiet) string {
	words := q.Label
	if q.FloorDBFS.Known() {
		words += fmt.Sprintf(": %s dBFS", signed(q.FloorDBFS.Estimate.Median, 1))
	}
	if q.FloorADBFS.Known() {
		words += fmt.Sprintf(", A-weighted %s", signed(q.FloorADBFS.Estimate.Median, 1))
	}
	return words
}

func noiseRange(drawn []result.Quiet) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, q := range drawn {
		for i, hz := range q.PSD.Hz {
			if hz >= 20 && hz <= 20000 && finite(q.PSD.DBFSPerHz[i]) {
				low, high = math.Min(low, q.PSD.DBFSPerHz[i]), math.Max(high, q.PSD.DBFSPerHz[i])
			}
		}
	}
	if !finite(low) || !finite(high) {
		return -150, -90
	}
	return math.Max(math.Floor(low/10)*10, -190), math.Ceil(high/10)*10 + 20
}

// addHumMarks numbers the hum's lines that stand out, above the highest curve.
func addHumMarks(p *plot.Plot, drawn []result.Quiet) {
	if drawn[0].Hum == nil {
		return
	}
	st := textStyle(sizeSmall, inkText, draw.XCenter, draw.YBottom)
	for _, l := range drawn[0].Hum.Lines {
		if o := l.Order; l.AboveFloorDB < 6 || o > 5 && o != 7 && o != 10 {
			continue
		}
		if at, ok := levelAt(drawn, l.Hz); ok {
			p.Add(note(fmt.Sprint(l.Order), l.Hz, at, st, 0, 4))
		}
	}
}

// levelAt is the highest drawn value within 4 % of hz, about a figure's width.
func levelAt(drawn []result.Quiet, hz float64) (float64, bool) {
	best := math.Inf(-1)
	for _, q := range drawn {
		for i, f := range q.PSD.Hz {
			if math.Abs(f/hz-1) < 0.04 && q.PSD.DBFSPerHz[i] > best {
				best = q.PSD.DBFSPerHz[i]
			}
		}
	}
	return best, finite(best)
}

func noiseCaption(drawn []result.Quiet) string {
	q := drawn[0]
	if q.HumUntold {
		return fmt.Sprintf("Too short to tell whether there is hum; %s.", quietWords(q))
	}
	if q.Hum == nil {
		return fmt.Sprintf("No hum stands out; %s.", quietWords(q))
	}
	words := fmt.Sprintf("Hum at %.2f Hz and its multiples, %s dBFS in all", q.Hum.MainsHz, signed(q.Hum.TotalDBFS, 1))
	for _, other := range drawn[1:] {
		if other.Hand && other.Hum != nil {
			change := other.Hum.TotalDBFS - q.Hum.TotalDBFS
			return words + fmt.Sprintf("; a hand on the ground changes it by %s dB.", signed(change, 1))
		}
	}
	return words + "."
}
