package report

import (
	"image/color"
	"math"
	"strconv"
)

// luminance is the relative luminance of WCAG 2.2 (from sRGB, IEC 61966-2-1).
func luminance(c color.RGBA) float64 {
	linear := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

// parseColour reads the six hexadecimal digits of a CSS colour, or three.
func parseColour(s string) (color.RGBA, bool) {
	if len(s) == 3 {
		s = string([]byte{s[0], s[0], s[1], s[1], s[2], s[2]})
	}
	v, err := strconv.ParseUint(s, 16, 32)
	return color.RGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 0xff}, err == nil && len(s) == 6
}
