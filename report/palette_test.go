package report

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"slices"
	"testing"
)

// How eyes without one kind of cone see linear sRGB: Machado, Oliveira &
// Fernandes 2009, table 1, severity 1.0.
var eyes = map[string][3][3]float64{
	"three cones":  {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

// labAs is a colour in CIELAB under D65 (CIE 15; sRGB of IEC 61966-2-1) as an
// eye sees it.
func labAs(c color.RGBA, eye [3][3]float64) [3]float64 {
	linear := func(v uint8) float64 {
		if s := float64(v) / 255; s > 0.04045 {
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return float64(v) / 255 / 12.92
	}
	var seen, xyz [3]float64
	for i, row := range eye {
		seen[i] = min(1, max(0, row[0]*linear(c.R)+row[1]*linear(c.G)+row[2]*linear(c.B)))
	}
	for i, row := range [3][3]float64{{0.4124, 0.3576, 0.1805}, {0.2126, 0.7152, 0.0722}, {0.0193, 0.1192, 0.9505}} {
		xyz[i] = (row[0]*seen[0] + row[1]*seen[1] + row[2]*seen[2]) / [3]float64{0.95047, 1, 1.08883}[i]
		if xyz[i] > 216.0/24389 {
			xyz[i] = math.Cbrt(xyz[i])
		} else {
			xyz[i] = (24389.0/27*xyz[i] + 16) / 116
		}
	}
	return [3]float64{116*xyz[1] - 16, 500 * (xyz[0] - xyz[1]), 200 * (xyz[1] - xyz[2])}
}

func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// TestLab at the ends and at one primary: CIE 1976 values of sRGB red, printed
// in colour textbooks as 53.2, 80.1, 67.2.
func TestLab(t *testing.T) {
	for _, c := range []struct {
		ink  color.RGBA
		want [3]float64
	}{{color.RGBA{}, [3]float64{}}, {paper, [3]float64{100, 0, 0}}, {color.RGBA{R: 255}, [3]float64{53.2, 80.1, 67.2}}} {
		if got := labAs(c.ink, eyes["three cones"]); distance(got, c.want) > 0.2 {
			t.Errorf("%v is %v, want %v", c.ink, got, c.want)
		}
	}
}

// TestStringsDifferToEveryEye: any two strings of an instrument differ in
// colour for every kind of eye, the fewer there are the more. Steps of CIELAB
// beside each other are told apart from about 2; 10 is ample (common practice,
// no source).
func TestStringsDifferToEveryEye(t *testing.T) {
	for name, eye := range eyes {
		for _, c := range []struct {
			strings int
			least   float64
		}{{4, 20}, {6, 16}, {12, 10}} {
			for a := 1; a <= c.strings; a++ {
				for b := 1; b < a; b++ {
					if d := distance(labAs(stringInk(a), eye), labAs(stringInk(b), eye)); d < c.least {
						t.Errorf("%s: strings %d and %d of %d differ by %.1f", name, b, a, c.strings, d)
					}
				}
			}
		}
	}
}

// TestStringsDifferInGrey: strings next to each other differ in lightness, for
// prints in grey; where curves share a panel no two of them have lightness and
// dashes in common.
func TestStringsDifferInGrey(t *testing.T) {
	ratio := func(a, b int) float64 {
		x, y := luminance(stringInk(a))+0.05, luminance(stringInk(b))+0.05
		return max(x, y) / min(x, y)
	}
	for a := 1; a <= len(stringInks); a++ {
		for b := 1; b < a; b++ {
			next, same := a == b+1, slices.Equal(stringDashes(a), stringDashes(b))
			if (next || same) && ratio(a, b) < 1.2 {
				t.Errorf("strings %d and %d differ by %.2f in lightness only", b, a, ratio(a, b))
			}
		}
	}
}

// TestInksStandOut: what is drawn reaches the contrast of WCAG 2.2, criterion
// 1.4.11: 3 to 1 on paper.
func TestInksStandOut(t *testing.T) {
	for n := 1; n <= len(stringInks); n++ {
		if c := 1.05 / (luminance(stringInk(n)) + 0.05); c < 3 {
			t.Errorf("string %d has contrast %.2f", n, c)
		}
	}
}

// TestStringKeepsItsColour: every figure of four strings draws each of them in
// its own ink, and none in the ink of a string that is not there.
func TestStringKeepsItsColour(t *testing.T) {
	figures := append(figuresOf(sample(4)), trendFigures(wholeTrend(4, "wired", "glued"))...)
	figures = append(figures, *changesFigure(wholeComparison(4)), *responseChangeFigure(wholeComparison(4)))
	for _, f := range figures {
		if f.name == "noise" {
			continue
		}
		svg, err := f.svg()
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 12; n++ {
			c := stringInk(n)
			ink := fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B)
			if got := bytes.Contains(bytes.ToUpper(svg), []byte(ink)); got != (n <= 4) {
				t.Errorf("%s: ink of string %d there: %v", f.name, n, got)
			}
		}
	}
}
