package report

import (
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// patches is a picture of few inks in runs of any length, as a figure is.
func patches(rng *rand.Rand, inks []color.RGBA) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, 1+rng.IntN(70), 1+rng.IntN(50)))
	for i := 0; i < len(img.Pix); {
		ink := inks[rng.IntN(len(inks))]
		for n := 1 + int(math.Exp(6*rng.Float64())); n > 0 && i < len(img.Pix); n-- {
			copy(img.Pix[i:], []uint8{ink.R, ink.G, ink.B, 0xff})
			i += 4
		}
	}
	return img
}

// TestIndexedFewInks: up to 256 colours are kept as they are.
func TestIndexedFewInks(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 8))
	for range 200 {
		inks := make([]color.RGBA, 1+rng.IntN(256))
		for i, key := range rng.Perm(1 << 15)[:len(inks)] { // each in a bucket of its own
			inks[i] = color.RGBA{uint8(key>>10<<3 | rng.IntN(8)), uint8(key >> 5 << 3), uint8(key << 3), 0xff}
		}
		img := patches(rng, inks)
		if d := largestStep(img, indexed(img)); d != 0 {
			t.Fatalf("%v of %d inks differs by %d", img.Rect, len(inks), d)
		}
	}
}

// TestIndexedManyInks: beyond 256 colours each pixel gets one near its own.
func TestIndexedManyInks(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 8))
	var inks []color.RGBA
	for k := range 3000 {
		inks = append(inks, faded(stringInks[k%12], rng.Float64()))
	}
	for range 20 {
		img := patches(rng, inks)
		if d := largestStep(img, indexed(img)); d > 16 {
			t.Errorf("a pixel is %d of 255 off its colour", d)
		}
	}
}

// largestStep is the largest difference of any colour of any pixel, of 255.
func largestStep(a, b image.Image) (d int) {
	if a.Bounds() != b.Bounds() {
		return math.MaxInt
	}
	for y := range a.Bounds().Dy() {
		for x := range a.Bounds().Dx() {
			p, q := color.RGBAModel.Convert(a.At(x, y)).(color.RGBA), color.RGBAModel.Convert(b.At(x, y)).(color.RGBA)
			for _, pair := range [][2]uint8{{p.R, q.R}, {p.G, q.G}, {p.B, q.B}, {p.A, q.A}} {
				d = max(d, int(max(pair[0], pair[1])-min(pair[0], pair[1])))
			}
		}
	}
	return d
}

// TestCanvasWords compares words, level and turned, with the plotting
// library's own canvas.
func TestCanvasWords(t *testing.T) {
	const wide, high, dpi = 150, 90, 240
	own := newCanvas(wide, high, dpi)
	library := vgimg.NewWith(vgimg.UseWH(wide, high), vgimg.UseDPI(dpi))
	for _, c := range []draw.Canvas{draw.New(own), draw.New(library)} {
		for i, words := range []string{"D3, −12.5 dB", "Ä g j", "", "AVAVA To"} {
			for _, turned := range []float64{0, math.Pi / 2} {
				st := text.Style{Color: stringInks[i], Font: typeface(9.3, i%2 == 1), Rotation: turned, Handler: plot.DefaultTextHandler}
				c.FillText(st, vg.Point{X: 12.3 + 19*vg.Length(i), Y: 5.77 + 21*vg.Length(i)}, words)
			}
		}
	}
	if d := largestStep(own.img, library.Image()); d > 0 {
		t.Errorf("words differ by %d of 255", d)
	}
}
