package report

import (
	"image"
	"image/color"
	"math"

	"git.sr.ht/~sbinet/gg"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// canvas draws into pixels. Level words it sets letter by letter where the
// canvas below resamples each letter, which comes to the same and takes long.
type canvas struct {
	*vgimg.Canvas
	img   *image.RGBA
	state []canvasState // last is current
}

type canvasState struct {
	ink   color.Color
	moved bool // turned, shifted or scaled
}

// newCanvas is white paper. It draws into its own pixels; left to itself the
// canvas below would copy them.
func newCanvas(wide, high vg.Length, dpi int) *canvas {
	img := image.NewRGBA(image.Rect(0, 0, inPixels(wide, dpi), inPixels(high, dpi)))
	ctx := gg.NewContextForRGBA(img)
	ctx.SetLineCapButt()
	ctx.InvertY()
	c := vgimg.NewWith(vgimg.UseImageWithContext(img, ctx), vgimg.UseDPI(dpi))
	return &canvas{Canvas: c, img: img, state: make([]canvasState, 1)}
}

func inPixels(l vg.Length, dpi int) int { return int(math.Round(l.Dots(float64(dpi)))) }

func (c *canvas) now() *canvasState { return &c.state[len(c.state)-1] }

// SetColor sets the ink of what follows.
func (c *canvas) SetColor(ink color.Color) {
	c.now().ink = ink
	c.Canvas.SetColor(ink)
}

// Push keeps ink and place for Pop.
func (c *canvas) Push() {
	c.state = append(c.state, *c.now())
	c.Canvas.Push()
}

// Pop takes back what was set since Push.
func (c *canvas) Pop() {
	c.state = c.state[:len(c.state)-1]
	c.Canvas.Pop()
}

// Rotate turns what follows, by radians.
func (c *canvas) Rotate(by float64) {
	c.now().moved = true
	c.Canvas.Rotate(by)
}

// Translate shifts what follows.
func (c *canvas) Translate(by vg.Point) {
	c.now().moved = true
	c.Canvas.Translate(by)
}

// Scale stretches what follows.
func (c *canvas) Scale(x, y float64) {
	c.now().moved = true
	c.Canvas.Scale(x, y)
}

// FillString writes words from the baseline's left end on.
func (c *canvas) FillString(f font.Face, at vg.Point, words string) {
	now := c.now()
	if now.moved || now.ink == nil {
		c.Canvas.FillString(f, at, words)
		return
	}
	face := f.FontFace(c.DPI())
	defer face.Close()
	_, high := c.Size()
	pen := xfont.Drawer{Dst: c.img, Src: image.NewUniform(now.ink), Face: face,
		Dot: fixed.Point26_6{X: inDots(at.X, c.DPI()), Y: inDots(high, c.DPI()) - inDots(at.Y, c.DPI())}}
	pen.DrawString(words)
}

// inDots is a length in 64ths of a pixel.
func inDots(l vg.Length, dpi float64) fixed.Int26_6 {
	return fixed.Int26_6(math.Round(l.Dots(dpi) * 64))
}
