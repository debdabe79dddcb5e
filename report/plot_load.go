package report

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"saddlewise/analysis/result"
)

// Load is the low end that discs, cable and input make: a first-order corner,
// below which the open strings lose level.
type Load struct {
	About    string // discs and cable, in words
	CornerHz float64
	InputOhm float64
	Strings  []result.StringLoss
	MaxLoss  float64 // dB that the lowest string may lose
	OhmFor   float64 // input resistance that loses just that

	MeasuredHz float64 // corner that a sweep found; 0: none
}

// WriteLoad draws loss against frequency into path, as PNG or SVG by its
// ending.
func WriteLoad(l Load, path string) error {
	f := loadPicture(l)
	data, err := []byte(nil), error(nil)
	switch ending := strings.ToLower(filepath.Ext(path)); ending {
	case ".png":
		data, err = f.png(onPage)
	case ".svg":
		data, err = f.svg()
	default:
		return fmt.Errorf("a picture's name ends in .png or .svg, not %q", ending)
	}
	if err != nil {
		return err
	}
	return writeAll(filepath.Dir(path), []file{{filepath.Base(path), data}})
}

// loadFigure shows what the stage's facts predict, beside what sweeps found.
func loadFigure(r *result.Results) *figure {
	p := r.Stage.Pickup.Prediction
	if p == nil || len(p.Strings) == 0 || !(p.CornerHz > 0) {
		return nil
	}
	l := Load{
		About: circuitWords(r.Stage.Pickup), CornerHz: p.CornerHz, InputOhm: r.Stage.Pickup.InputOhm,
		Strings: p.Strings, MaxLoss: 1, OhmFor: p.OhmFor1DB,
	}
	for _, s := range r.Sweeps {
		if s.CornerHz.Known() {
			l.MeasuredHz = s.CornerHz.Estimate.Median
			break
		}
	}
	f := loadPicture(l)
	return &f
}

// circuitWords is "4 discs of 20 nF in parallel, 300 pF of cable".
func circuitWords(p result.Pickup) string {
	wired := " in " + p.Wiring
	switch {
	case p.Discs == 1:
		wired = ""
	case p.Wiring != "parallel" && p.Wiring != "series":
		wired = " wired " + p.Wiring
	}
	return fmt.Sprintf("%s of %s nF%s, %s pF of cable", counted(p.Discs, "disc"), trim(p.DiscNF), wired, trim(p.CablePF+p.InputPF))
}

const (
	loadLowHz  = 10.0
	loadHighHz = 2000.0
	loadMostDB = 24.0
	loadTopDB  = 4.0 // room for the strings' names
)

// otherOhm are inputs to compare with: line, old amplifier, instrument, and
// buffer (common practice, no source).
var otherOhm = []float64{10e3, 47e3, 220e3, 1e6, 10e6}

func loadPicture(l Load) figure {
	p := newPanel("", "Hz", "dB re no load")
	logFrequency(p, loadLowHz, loadHighHz, false)
	steps(&p.Y, -loadMostDB, loadTopDB, 6, 0)
	gridLines(p, true, true)
	p.Add(stringRules(l.Strings), horizontalRule(-l.MaxLoss, inkAxis, lineThin, 4, 3))
	p.Add(note(fmt.Sprintf("%s dB lost", trim(l.MaxLoss)), loadHighHz, -l.MaxLoss, textStyle(sizeSmall, inkQuiet, draw.XRight, draw.YTop), -3, -2))
	for _, ohm := range otherOhm {
		if math.Abs(math.Log(ohm/l.InputOhm)) > 0.3 {
			p.Add(lossCurve(l.CornerHz*l.InputOhm/ohm, faded(inkQuiet, 0.6), lineThin))
		}
	}
	if l.MeasuredHz > 0 {
		p.Add(lossCurve(l.MeasuredHz, inkAlarm, lineMain, 4, 3))
	}
	p.Add(lossCurve(l.CornerHz, inkText, 2))
	for _, s := range slices.Backward(l.Strings) { // of strings in unison the first stays on top
		p.Add(symbol(s.Hz, -s.LossDB, draw.CircleGlyph{}, stringInk(s.Number), 3))
	}
	p.Add(lossNames(l), stringNames(l.Strings))
	return figure{
		name: "load", title: "What the input takes from the low strings", legend: l.About + "; thick: this input; thin: others",
		caption: loadCaption(l), panels: [][]*plot.Plot{{p}}, height: headHeight + 2*figureMargin + 200,
	}
}

// cornerLevel is the level of a first-order high-pass.
func cornerLevel(cornerHz, hz float64) float64 {
	r := cornerHz / hz
	return -10 * math.Log10(1+r*r)
}

func lossCurve(cornerHz float64, ink color.RGBA, width vg.Length, dashes ...vg.Length) mark {
	var hz, level []float64
	for f := loadLowHz; f < loadHighHz*1.02; f *= 1.02 {
		hz, level = append(hz, f), append(level, cornerLevel(cornerHz, f))
	}
	return curve(hz, level, ink, width, dashes...)
}

// stringRules mark the open strings' frequencies.
func stringRules(strs []result.StringLoss) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		for _, s := range slices.Backward(strs) {
			st := draw.LineStyle{Color: faded(stringInk(s.Number), 0.5), Width: lineThin}
			c.StrokeLine2(st, x(s.Hz), c.Min.Y, x(s.Hz), y(0))
		}
	}
}

// stringNames stand above the strings' rules, in two rows where they are
// close, without notes where that is too much, and not at all where even
// numbers would meet.
func stringNames(strs []result.StringLoss) mark {
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		pitches := byPitch(strs)
		names, all := inTwoRows(pitches, x, func(p pitchOf) string { return strings.TrimSpace(p.numbers + " " + p.note) })
		if !all {
			names, _ = inTwoRows(pitches, x, func(p pitchOf) string { return p.numbers })
		}
		for i, n := range names {
			n.st.Color = legible(stringInk(pitches[i].first))
			c.FillText(n.st, vg.Point{X: x(pitches[i].hz), Y: y(0) + 2 + vg.Length(n.row)*(sizeSmall+1)}, n.words)
		}
	}
}

// pitchOf is the strings that share a pitch: courses in unison do.
type pitchOf struct {
	hz      float64
	first   int // string
	numbers string
	note    string
}

// byPitch is from low to high.
func byPitch(strs []result.StringLoss) []pitchOf {
	order := slices.Clone(strs)
	slices.SortStableFunc(order, func(a, b result.StringLoss) int { return cmp.Compare(a.Hz, b.Hz) })
	var out []pitchOf
	for _, s := range order {
		if last := len(out) - 1; last >= 0 && s.Hz < 1.01*out[last].hz {
			out[last].numbers += fmt.Sprintf(", %d", s.Number)
			continue
		}
		out = append(out, pitchOf{s.Hz, s.Number, fmt.Sprint(s.Number), s.Note})
	}
	return out
}

// placedName is words in the lower row, 0, or the one above it.
type placedName struct {
	words string
	row   int
	st    text.Style
}

// inTwoRows gives each pitch its name where it has room, no words where it has
// none; all tells whether every one had.
func inTwoRows(pitches []pitchOf, x func(float64) vg.Length, name func(pitchOf) string) (names []placedName, all bool) {
	st := textStyle(sizeSmall, nil, draw.XCenter, draw.YBottom)
	st.Font = typeface(sizeSmall, true)
	taken, all := [2]vg.Length{}, true
	for _, p := range pitches {
		n := placedName{words: name(p), st: st}
		half := st.Width(n.words)/2 + 2
		if x(p.hz)-half < taken[0] {
			n.row = 1
		}
		if x(p.hz)-half < taken[n.row] {
			n.words, all = "", false
		} else {
			taken[n.row] = x(p.hz) + half
		}
		names = append(names, n)
	}
	return names, all
}

// lossNames write each input's resistance on its curve, where there is room.
func lossNames(l Load) mark {
	type named struct {
		words    string
		cornerHz float64
		ink      color.RGBA
		bold     bool
	}
	names := []named{{Ohm(l.InputOhm), l.CornerHz, inkText, true}}
	if l.MeasuredHz > 0 {
		names = append(names, named{"measured", l.MeasuredHz, inkAlarm, false})
	}
	for _, ohm := range otherOhm {
		if math.Abs(math.Log(ohm/l.InputOhm)) > 0.3 {
			names = append(names, named{Ohm(ohm), l.CornerHz * l.InputOhm / ohm, inkQuiet, false})
		}
	}
	return func(c draw.Canvas, x, y func(float64) vg.Length) {
		var taken []vg.Rectangle
		for _, n := range names {
			st := textStyle(sizeSmall, n.ink, draw.XLeft, draw.YCenter)
			st.Font = typeface(sizeSmall, n.bold)
			highest := -0.1 // a flatter curve lies on the others
			if n.bold {
				highest = 0
			}
			if pt, ok := besideCurve(c, x, y, st, n.words, n.cornerHz, highest, taken); ok {
				taken = append(taken, wordsBox(st, pt, n.words))
				fillOnPaper(c, st, pt, n.words)
			}
		}
	}
}

// besideCurve is the first place along a curve, from its low end and not above
// the highest level, where words cover none of those written before.
func besideCurve(c draw.Canvas, x, y func(float64) vg.Length, st text.Style, words string, cornerHz, highest float64, taken []vg.Rectangle) (vg.Point, bool) {
	for f := loadLowHz * 1.03; f < 400; f *= 1.05 {
		level := cornerLevel(cornerHz, f)
		if level < -loadMostDB+2.5 || level > highest {
			continue
		}
		pt := vg.Point{X: x(f), Y: y(level)}
		if level > -1.5 {
			pt.Y += sizeSmall * 0.8
		}
		box := wordsBox(st, pt, words)
		if !slices.ContainsFunc(taken, func(r vg.Rectangle) bool { return overlap(r, box) }) && box.Min.Y > c.Min.Y {
			return pt, true
		}
	}
	return vg.Point{}, false
}

func loadCaption(l Load) string {
	if len(l.Strings) == 0 {
		return fmt.Sprintf("With %s the corner lies at %s Hz.", Ohm(l.InputOhm), Figures(l.CornerHz))
	}
	low := slices.MinFunc(l.Strings, func(a, b result.StringLoss) int { return cmp.Compare(a.Hz, b.Hz) })
	words := fmt.Sprintf("With %s the corner lies at %s Hz, and string %s loses %.1f dB; %s would cost it %s dB.", Ohm(l.InputOhm), Figures(l.CornerHz),
		strings.TrimSpace(fmt.Sprintf("%d %s", low.Number, low.Note)), low.LossDB, Ohm(l.OhmFor), trim(l.MaxLoss))
	if l.MeasuredHz > 0 {
		words = strings.TrimSuffix(words, ".") + fmt.Sprintf(". The sweep's own corner lies at %s Hz.", Figures(l.MeasuredHz))
	}
	return words
}
