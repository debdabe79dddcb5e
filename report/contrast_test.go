package report

import (
	"image/color"
	"strconv"
	"testing"
)

// parseColour reads the six hexadecimal digits of a CSS colour, or three.
func parseColour(s string) (color.RGBA, bool) {
	if len(s) == 3 {
		s = string([]byte{s[0], s[0], s[1], s[1], s[2], s[2]})
	}
	v, err := strconv.ParseUint(s, 16, 32)
	return color.RGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 0xff}, err == nil && len(s) == 6
}

// TestLuminance at the ends of the scale and at one value between, which the
// definition gives for half of full drive.
func TestLuminance(t *testing.T) {
	for _, c := range []struct {
		ink  color.RGBA
		want float64
	}{{color.RGBA{}, 0}, {paper, 1}, {color.RGBA{R: 0x80, G: 0x80, B: 0x80}, 0.2158605}, {color.RGBA{G: 0xff}, 0.7152}} {
		if got := luminance(c.ink); got < c.want-1e-6 || got > c.want+1e-6 {
			t.Errorf("luminance of %v is %g, want %g", c.ink, got, c.want)
		}
	}
}

func TestLegibleInks(t *testing.T) {
	for n := range len(stringInks) {
		if ratio := 1.05 / (luminance(legible(stringInk(n+1))) + 0.05); ratio < 4.5 {
			t.Errorf("words in the ink of string %d have contrast %.2f", n+1, ratio)
		}
	}
	if got := legible(inkText); got != inkText {
		t.Errorf("dark ink became %v", got)
	}
}
