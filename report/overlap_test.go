package report

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"

	"saddlewise/analysis/result"
)

// writing is level words in a figure and what their digits and capitals cover.
type writing struct {
	words string
	box   vg.Rectangle
}

// seen is what a figure writes level, and where its dashed rules stand upright.
func seen(f figure, l layout) (words []writing, rulesX []vg.Length) {
	f = f.fit(l)
	var c recorder.Canvas
	f.draw(draw.NewCanvas(&c, l.wide, f.height))
	var turned, dashed bool
	for _, a := range c.Actions {
		switch a := a.(type) {
		case *recorder.Rotate:
			turned = true
		case *recorder.Pop:
			turned = false
		case *recorder.SetLineDash:
			dashed = len(a.Dashes) > 0
		case *recorder.Stroke:
			if dashed && len(a.Path) == 2 && a.Path[0].Pos.X == a.Path[1].Pos.X {
				rulesX = append(rulesX, a.Path[0].Pos.X)
			}
		case *recorder.FillString:
			if strings.TrimSpace(a.String) != "" && !turned {
				far := vg.Point{X: a.Point.X + textStyle(a.Size, nil, 0, 0).Width(a.String), Y: a.Point.Y + capHeight*a.Size}
				words = append(words, writing{a.String, vg.Rectangle{Min: a.Point, Max: far}})
			}
		}
	}
	return words, rulesX
}

// crowded are stages of many strings, courses and takes.
func crowded() map[string][]figure {
	all := everyFigure()
	rng := rand.New(rand.NewPCG(12, 5))
	for range 4 {
		r := sample(12)
		for i := range r.Strings {
			loss := result.StringLoss{Number: i + 1, Note: r.Strings[i].Note, Hz: 40 * float64(1+rng.IntN(4+i)), LossDB: rng.Float64()}
			p := r.Stage.Pickup.Prediction
			if p == nil {
				p = &result.Prediction{CornerHz: 20}
				r.Stage.Pickup.Prediction = p
			}
			p.Strings = append(p.Strings, loss)
		}
		r.Stage.Pickup.InputOhm = 1e6
		for i := range 9 {
			r.Takes = append(r.Takes, result.Take{File: fmt.Sprintf("quiet-evening %d.wav", i)})
			q := sampleQuiet(rng, "quiet", false)
			q.Takes = []int{i}
			r.Quiet = append(r.Quiet, q)
		}
		s := sampleSweep(1)
		high := 400 + 60*rng.Float64() // the peak is at 430 Hz
		s.HighMinus3Hz = &high
		r.Sweeps = []result.Sweep{s}
		all["crowded"] = append(all["crowded"], figuresOf(r)...)
	}
	return all
}

// TestWordsKeepApart looks at every kind of figure in both layouts: no words
// over others, no dashed rule through a resonance's name.
func TestWordsKeepApart(t *testing.T) {
	for name, figures := range crowded() {
		for _, f := range figures {
			for _, l := range []layout{onPage, onPhone} {
				words, rulesX := seen(f, l)
				for i, a := range words {
					for _, b := range words[:i] {
						if overlap(a.box, b.box) {
							t.Errorf("%s, %s%s: %q over %q", name, f.name, l.ending, a.words, b.words)
						}
					}
					if strings.HasPrefix(a.words, "Q ") && slices.ContainsFunc(rulesX, func(x vg.Length) bool { return x > a.box.Min.X && x < a.box.Max.X }) {
						t.Errorf("%s, %s%s: a rule crosses %q", name, f.name, l.ending, a.words)
					}
				}
				if len(words) == 0 {
					t.Errorf("%s, %s%s: no words", name, f.name, l.ending)
				}
			}
		}
	}
}

// TestManySilences: takes of one name are told apart by their files; few are
// drawn, the one with a hand on the ground among them.
func TestManySilences(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 5))
	r := sample(0)
	r.Quiet = nil
	for i, name := range []string{"quiet.wav", "quiet-b.wav", "quiet-c.WAV", "quiet-d.wav", "quiet-e.wav", "quiet-f.wav", "quiet-hand.wav"} {
		r.Takes = append(r.Takes, result.Take{File: name})
		q := sampleQuiet(rng, "quiet", i == 6)
		if q.Hand {
			q.Label = "quiet with hand"
		}
		q.Takes = []int{i}
		r.Quiet = append(r.Quiet, q)
	}
	var got []string
	for _, q := range toldApart(r) {
		got = append(got, q.Label)
	}
	if want := "quiet quiet-b quiet-c quiet-d quiet-e quiet-f quiet with hand"; strings.Join(got, " ") != want {
		t.Errorf("silences %q, want %q", got, want)
	}
	words, _ := seen(*noiseFigure(r), onPage)
	for _, want := range []string{"quiet: ", "quiet with hand: ", "2 more in the table"} {
		if !slices.ContainsFunc(words, func(w writing) bool { return strings.HasPrefix(w.words, want) }) {
			t.Errorf("nothing says %q", want)
		}
	}
}

// TestCourses: strings in unison share a name.
func TestCourses(t *testing.T) {
	var got []string
	for _, p := range byPitch([]result.StringLoss{{Number: 1, Hz: 220}, {Number: 2, Hz: 220.4}, {Number: 3, Hz: 110}, {Number: 4, Hz: 219.8}}) {
		got = append(got, p.numbers)
	}
	if want := []string{"3", "4, 1, 2"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestPartialAmongHigher: a number never stands on the lines of higher
// partials beside it.
func TestPartialAmongHigher(t *testing.T) {
	r := sample(1)
	r.Strings[0].Pluck.Spectrum.Partials = []result.Partial{{N: 1, Hz: 100}, {N: 15, Hz: 1500, LevelDB: -20}, {N: 16, Hz: 1600, LevelDB: -60}, {N: 17, Hz: 1700, LevelDB: -20}}
	for _, f := range figuresOf(r) {
		if f.name != "spectrum" {
			continue
		}
		words, _ := seen(f, onPhone)
		for n, want := range map[string]bool{"1": true, "16": false} {
			if got := slices.ContainsFunc(words, func(w writing) bool { return w.words == n }); got != want {
				t.Errorf("number %s written: %v", n, got)
			}
		}
	}
}
