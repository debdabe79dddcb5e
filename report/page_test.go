package report

import (
	"bytes"
	"encoding/xml"
	"io"
	"regexp"
	"strings"
	"testing"
)

// pageOf is the report of r as one HTML page, with a stand-in for pictures.
func pageOf(t *testing.T, markdown []byte, figures []figure) string {
	t.Helper()
	var pictures []file
	for _, f := range figures {
		pictures = append(pictures, file{f.name + ".png", []byte("picture")})
	}
	data, err := page(hostile, "stop", markdown, pictures)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestPageNeedsNothingElse(t *testing.T) {
	for name, r := range cases() {
		figures := figuresOf(r)
		got := pageOf(t, folded(markdown(r, figures)), figures)
		for _, bad := range []string{"<script", "http://", "https://", "url(", "@import", "<link", "<iframe", "onerror", "results.csv\""} {
			if strings.Contains(got, bad) {
				t.Errorf("%s: page holds %q", name, bad)
			}
		}
		for _, src := range regexp.MustCompile(`(src|href)="([^"]*)"`).FindAllStringSubmatch(got, -1) {
			if !strings.HasPrefix(src[2], "data:image/png;base64,") {
				t.Errorf("%s: page refers to %q", name, src[2])
			}
		}
		if n := strings.Count(got, "<img "); n != len(figures) {
			t.Errorf("%s: %d pictures, want %d", name, n, len(figures))
		}
	}
}

// TestPageIsWellFormed reads the page's body as XML, which is stricter than
// any browser: every element closed, every attribute quoted.
func TestPageIsWellFormed(t *testing.T) {
	for name, r := range cases() {
		figures := figuresOf(r)
		got := pageOf(t, folded(markdown(r, figures)), figures)
		body := got[strings.Index(got, "<body"):strings.Index(got, "</html>")]
		dec := xml.NewDecoder(strings.NewReader(body))
		dec.AutoClose, dec.Entity = []string{"img", "br", "hr"}, xml.HTMLEntity
		for {
			_, err := dec.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
}

func TestPageSpeaksToTheEar(t *testing.T) {
	r := sample(4)
	figures := figuresOf(r)
	got := pageOf(t, folded(markdown(r, figures)), figures)
	for _, want := range []string{`<html lang="en">`, `<th scope="col"`, `<th scope="row">1 E4</th>`, `aria-label="Table: The strings"`, `<main>`} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s", want)
		}
	}
	if regexp.MustCompile(`<img [^>]*alt=""`).MatchString(got) {
		t.Error("picture without words")
	}
	if heads, bare := strings.Count(got, "<th"), strings.Count(got, "<th>"); heads == 0 || bare > 0 {
		t.Errorf("%d of %d table headings have no scope", bare, heads)
	}
}

func TestPageWithoutItsPicture(t *testing.T) {
	if _, err := page("x", "stop", []byte("![a](gone.png)"), nil); err == nil {
		t.Error("a missing picture went unnoticed")
	}
}

// pageColours are the custom properties of one scheme of the style.
func pageColours(t *testing.T, css string) map[string]float64 {
	t.Helper()
	colours := map[string]float64{}
	for _, m := range regexp.MustCompile(`(body\.\w+ \{ )?--(\w+): #(\w+)`).FindAllStringSubmatch(css, -1) {
		c, ok := parseColour(m[3])
		if !ok {
			t.Fatalf("colour %q", m[3])
		}
		colours[m[1]+m[2]] = luminance(c)
	}
	return colours
}

// TestPageContrast: every ink on every ground reaches WCAG 2.2 level AA
// (criterion 1.4.3, 4.5 to 1), light and dark.
func TestPageContrast(t *testing.T) {
	light, rest, ok := strings.Cut(pageStyle, "@media screen")
	dark, _, ok2 := strings.Cut(rest, "@media print")
	if !ok || !ok2 {
		t.Fatal("style has no dark scheme")
	}
	for name, css := range map[string]string{"light": light, "dark": dark} {
		colours := pageColours(t, css)
		inks := 0
		for ink, l := range colours {
			if ink == "paper" || ink == "band" || ink == "rule" {
				continue
			}
			inks++
			for _, ground := range []string{"paper", "band"} {
				g := colours[ground]
				if ratio := (max(l, g) + 0.05) / (min(l, g) + 0.05); ratio < 4.5 {
					t.Errorf("%s: %s on %s has contrast %.2f", name, ink, ground, ratio)
				}
			}
		}
		if inks < 7 {
			t.Errorf("%s: only %d inks found", name, inks)
		}
	}
}

func TestDataURIHoldsThePicture(t *testing.T) {
	got, err := page("x", "", []byte("![a](p.png)\n"), []file{{"p.png", []byte("abc")}})
	if err != nil || !bytes.Contains(got, []byte(`src="data:image/png;base64,YWJj"`)) {
		t.Errorf("%v in %s", err, got)
	}
}

// TestPageHasPicturesForThePhone: a narrow screen is given each figure drawn
// for it, a printer never.
func TestPageHasPicturesForThePhone(t *testing.T) {
	got, err := page("x", "", []byte("![wide & narrow\nwords](p.png)\n"), []file{{"p.png", []byte("abc")}, {"p-phone.png", []byte("xyz")}})
	want := `<picture><source media="screen and (max-width: 32rem)" srcset="data:image/png;base64,eHl6" />` +
		`<img src="data:image/png;base64,YWJj" alt="wide &amp; narrow words" /></picture>`
	if err != nil || !bytes.Contains(got, []byte(want)) {
		t.Errorf("%v in %s", err, got)
	}
}

// TestLettersStayReadable: on a page of 600 pixels and on a phone of 390 the
// smallest letters of a figure are 12 pixels high or more.
func TestLettersStayReadable(t *testing.T) {
	for _, c := range []struct {
		l      layout
		pixels float64
	}{{onPage, 600}, {onPhone, 390}} {
		for _, size := range []float64{float64(sizeSmall), float64(sizeTick)} {
			if got := size * c.pixels / float64(c.l.wide); got < 12 {
				t.Errorf("letters of %g points are %.1f pixels high at %g pixels", size, got, c.pixels)
			}
		}
	}
}
