package report

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"saddlewise/analysis/result"
)

func sampleLoad() Load {
	return Load{
		About: "4 discs of 20 nF in parallel, 300 pF of cable", CornerHz: 42.17, InputOhm: 47e3, MaxLoss: 1, OhmFor: 59.6e3,
		Strings: []result.StringLoss{{Number: 1, Note: "A3", Hz: 220, LossDB: 0.16}, {Number: 4, Note: "C2", Hz: 65.4, LossDB: 1.51}},
	}
}

func TestLoadIsDrawn(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new")
	for _, name := range []string{"a.png", "b.SVG"} {
		if err := WriteLoad(sampleLoad(), filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.Size() < 1000 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := WriteLoad(sampleLoad(), filepath.Join(dir, "c.pdf")); err == nil {
		t.Error("a picture was written as .pdf")
	}
	svg, err := os.ReadFile(filepath.Join(dir, "b.SVG"))
	if err != nil {
		t.Fatal(err)
	}
	// This input, those to compare it with, every string, what may be lost.
	for _, words := range []string{"47 kohm", "10 kohm", "220 kohm", "1 A3", "4 C2", "1 dB lost"} {
		if !strings.Contains(string(svg), ">"+words+"<") {
			t.Errorf("%q is not written in the picture", words)
		}
	}
}

func TestLoadCaptionSpeaksOfTheData(t *testing.T) {
	l := sampleLoad()
	l.MeasuredHz = 55
	want := "With 47 kohm the corner lies at 42.2 Hz, and string 4 C2 loses 1.5 dB; 59.6 kohm would cost it 1 dB. The sweep's own corner lies at 55 Hz."
	if got := loadCaption(l); got != want {
		t.Errorf("caption %q, want %q", got, want)
	}
}

// A loaded circuit has a corner anywhere: this input is named wherever its
// curve comes into the picture.
func TestLoadOfAnyCorner(t *testing.T) {
	for _, hz := range []float64{0.01, 0.5, 3, 30, 300, 3000, 1e5} {
		l := sampleLoad()
		l.CornerHz = hz
		svg, err := loadPicture(l).svg()
		if err != nil {
			t.Fatal(err)
		}
		if named := strings.Contains(string(svg), ">47 kohm<"); named != (hz < 1e4) {
			t.Errorf("corner %g Hz: named %v", hz, named)
		}
	}
}

func TestCornerIsExplained(t *testing.T) {
	pickup := result.Pickup{Discs: 4, Wiring: "parallel", Assumed: []string{"cable_pf"}}
	s := result.Sweep{CornerHz: quantityOf(4.02, 0.1, 1)}
	s.CornerCause = &result.CornerCause{Discs: 4, InputOhm: 1e6, DiscTolerance: 0.3, OhmAcross: quantityOf(493e3, 150e3, 1),
		WorkingDiscs: []result.WorkingDiscs{{Count: 1}, {Count: 2, Fits: true}, {Count: 3, Fits: true}, {Count: 4}}}
	got := causeWords(pickup, s)
	for _, want := range []string{"corner of 4.02 (3.92 to 4.12) Hz", "493 kohm across all 4 discs", "343 kohm to 643 kohm", "the stage says 1 Mohm",
		"it fits 2 and 3 of 4 discs working", "within 30 %", "common practice, no source): cable_pf"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in %q", want, got)
		}
	}
	s.CornerCause.WorkingDiscs = nil
	if got := causeWords(pickup, s); !strings.Contains(got, "cannot be told for this wiring") {
		t.Errorf("series: %q", got)
	}
	if got := causeWords(pickup, result.Sweep{}); got != "" {
		t.Errorf("nothing measured, yet %q", got)
	}
}
