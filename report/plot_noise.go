package report

import (
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// noiseFigure shows the spectrum of silence with its hum lines; with and
// without a hand on the ground where both were recorded.
func noiseFigure(r *result.Results) *figure {
	var drawn []result.Quiet
	for _, q := range toldApart(r) {
		if n := min(len(q.PSD.Hz), len(q.PSD.DBFSPerHz)); n > 1 {
			q.PSD.Hz = q.PSD.Hz[:n]
			drawn = append(drawn, q)
		}
	}
	if len(drawn) == 0 {
		return nil
	}
	p := newPanel("", "Hz", "dBFS per Hz")
	few := fewQuiets(drawn)
	low, high := noiseRange(few)
	logFrequency(p, 20, 20000, false)
	step := niceStep(high-low, 6)
	steps(&p.Y, low, high, step, 0)
	gridLines(p, true, true)
	for i := len(few) - 1; i >= 0; i-- {
		p.Add(curve(few[i].PSD.Hz, few[i].PSD.DBFSPerHz, quietInk(i), lineThin*1.4))
	}
	addHumMarks(p, few)
	st := textStyle(sizeSmall, inkText, draw.XRight, draw.YTop)
	for i, q := range few {
		st.Color = legible(quietInk(i))
		q.Label = inFont(q.Label, fmt.Sprintf("silence %d", i+1))
		p.Add(cornerLine(quietWords(q), st, i))
	}
	if more := len(drawn) - len(few); more > 0 {
		st.Color = inkQuiet
		p.Add(cornerLine(fmt.Sprintf("%d more in the table", more), st, len(few)))
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

// mostQuiets is how many curves of noise can be told apart in one panel.
const mostQuiets = 5

// fewQuiets leaves out what is too much: the first stays, and what it is to
// be compared with, those with a hand on the ground, go before the others.
func fewQuiets(drawn []result.Quiet) []result.Quiet {
	few := slices.Clone(drawn)
	slices.SortStableFunc(few[1:], func(a, b result.Quiet) int {
		switch {
		case a.Hand == b.Hand:
			return 0
		case a.Hand:
			return -1
		}
		return 1
	})
	return few[:min(len(few), mostQuiets)]
}

func quietInk(i int) color.RGBA {
	if i == 0 {
		return stringInks[0]
	}
	return faded(stringInks[i%len(stringInks)], 0.8)
}

// toldApart are the silences, named by their takes where several would have
// one name.
func toldApart(r *result.Results) []result.Quiet {
	named := map[string]int{}
	for _, q := range r.Quiet {
		named[q.Label]++
	}
	quiets := slices.Clone(r.Quiet)
	for i, q := range quiets {
		if named[q.Label] > 1 && len(q.Takes) > 0 && q.Takes[0] < len(r.Takes) {
			file := r.Takes[q.Takes[0]].File
			quiets[i].Label = strings.TrimSuffix(file, filepath.Ext(file))
		}
	}
	return quiets
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
	low, high = math.Max(math.Floor(low/10)*10, -190), math.Ceil(high/10)*10+20
	for range drawn[min(len(drawn), 2):] { // room for one more name
		high += math.Ceil(0.007*(high-low)) * 10
	}
	return low, high
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
