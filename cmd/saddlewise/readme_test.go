package main

import (
	"bytes"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"saddlewise/fixtures"
)

var update = flag.Bool("update", false, "renew the sample report in README.md and its pictures")

const (
	readmeFile  = "../../README.md"
	sampleBegin = "<!-- sample report: made by the tests, see DEVELOPERS.md -->\n"
	sampleEnd   = "<!-- end of sample report -->\n"
	samplePath  = "testdata/demo"
)

// samplePictures are shown in the README, in this order.
var samplePictures = []string{"taps", "balance", "noise"}

// TestReadme runs every command that the README shows, in order, in an empty
// folder, and holds the sample report to what the demo gives.
func TestReadme(t *testing.T) {
	readme, err := filepath.Abs(readmeFile)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	lines := commandLines(string(text))
	if len(lines) < 12 {
		t.Fatalf("only %d commands found: %q", len(lines), lines)
	}
	for _, line := range lines {
		args, ours := strings.CutPrefix(strings.Replace(line, "go run ./cmd/saddlewise", "saddlewise", 1), "saddlewise ")
		if !ours {
			continue
		}
		var out, errOut bytes.Buffer
		if got := run(t.Context(), strings.Fields(args), &out, &errOut); got != exitDone || errOut.Len() > 0 {
			t.Fatalf("%s: status %d, %s", line, got, &errOut)
		}
		if strings.HasPrefix(args, "plan ") {
			record(t, "my-guitar")
		}
	}
	compareSample(t, readme, string(text), "saddlewise-demo/wired/report")
}

// commandLines are the lines of the indented blocks, without what a shell adds.
func commandLines(text string) []string {
	var lines []string
	for line := range strings.Lines(text) {
		if words := strings.TrimSpace(line); strings.HasPrefix(line, "    ") && (strings.HasPrefix(words, "saddlewise ") || strings.HasPrefix(words, "go ")) {
			lines = append(lines, words)
		}
	}
	return lines
}

// record renders takes for both stages of the build that the README plans.
func record(t *testing.T, build string) {
	t.Helper()
	guitar := fixtures.Tunings()[0]
	for i, stage := range []string{"wired", "glued"} {
		s := fixtures.RandomHealthyOf(guitar, rand.New(rand.NewPCG(5, uint64(i)))).Session
		s.RateHz, s.TapTakes, s.TapsPerTake, s.Plucks, s.PluckS, s.QuietS, s.ToneHz = 44100, 1, 6, 2, 2, 5, 0
		if _, err := s.Write(t.Context(), filepath.Join(build, stage)); err != nil {
			t.Fatal(err)
		}
	}
}

// compareSample holds the README's sample and its pictures to the report in
// folder, or renews them.
func compareSample(t *testing.T, readme, text, folder string) {
	t.Helper()
	head, rest, ok := strings.Cut(text, sampleBegin)
	got, tail, ok2 := strings.Cut(rest, sampleEnd)
	if !ok || !ok2 {
		t.Fatal("README.md has no marks around its sample report")
	}
	want := sampleOf(t, folder)
	pictures := filepath.Join(filepath.Dir(readme), filepath.FromSlash(samplePath))
	if *update {
		renewSample(t, readme, head+sampleBegin+want+sampleEnd+tail, pictures, folder)
		return
	}
	const renew = "renew it: go test ./cmd/saddlewise -run TestReadme -update"
	if err := alike(got, want); err != nil {
		t.Errorf("the README's sample report is out of step: %v; %s", err, renew)
	}
	for _, name := range samplePictures {
		if err := sameSight(filepath.Join(pictures, name+".png"), filepath.Join(folder, name+".png")); err != nil {
			t.Errorf("%s.png is out of step: %v; %s", name, err, renew)
		}
	}
}

func renewSample(t *testing.T, readme, text, pictures, folder string) {
	t.Helper()
	if err := os.MkdirAll(pictures, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(readme, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, name := range samplePictures {
		data, err := os.ReadFile(filepath.Join(folder, name+".png"))
		if err == nil {
			err = os.WriteFile(filepath.Join(pictures, name+".png"), data, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// sampleOf is the report's answer, strings and findings, two levels of heading
// lower, then some pictures with their captions.
func sampleOf(t *testing.T, folder string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(folder, "report.md"))
	if err != nil {
		t.Fatal(err)
	}
	answer, evidence, ok := strings.Cut(string(data), "## Evidence\n")
	if !ok {
		t.Fatal("the report has no evidence")
	}
	var b strings.Builder
	b.WriteString("\n" + regexp.MustCompile(`(?m)^#`).ReplaceAllString(answer, "###"))
	for _, name := range samplePictures {
		m := regexp.MustCompile(`(?s)!\[([^\[]*)\]\(` + name + `\.png\)\n\n(.*?)\n\n`).FindStringSubmatch(evidence)
		if m == nil {
			t.Fatalf("the report does not show %s.png", name)
		}
		fmt.Fprintf(&b, "![%s](%s/%s.png)\n\n%s\n\n", m[1], samplePath, name, m[2])
	}
	return b.String()
}

var number = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)

// alike tells texts apart by their words exactly and by their numbers roughly:
// processors differ in the last bit of a product, and rounding shows it.
func alike(a, b string) error {
	if x, y := number.ReplaceAllString(a, "0"), number.ReplaceAllString(b, "0"); x != y {
		return fmt.Errorf("words differ at %q", firstDifference(x, y))
	}
	as, bs := number.FindAllString(a, -1), number.FindAllString(b, -1)
	for i := range as {
		x, errX := strconv.ParseFloat(as[i], 64)
		y, errY := strconv.ParseFloat(bs[i], 64)
		if errX != nil || errY != nil || math.Abs(x-y) > 0.11+0.01*y {
			return fmt.Errorf("%s is %s now", as[i], bs[i])
		}
	}
	return nil
}

func firstDifference(a, b string) string {
	as, bs := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i, line := range bs {
		if i >= len(as) || as[i] != line {
			return line
		}
	}
	return "the end"
}

// sameSight tells whether two pictures look the same: nine pixels in ten
// thousand may differ.
func sameSight(a, b string) error {
	x, err := picture(a)
	if err != nil {
		return err
	}
	y, err := picture(b)
	if err != nil {
		return err
	}
	if x.Bounds() != y.Bounds() {
		return fmt.Errorf("%v is %v now", x.Bounds(), y.Bounds())
	}
	size, differ := x.Bounds().Size(), 0
	for j := range size.Y {
		for i := range size.X {
			p, q := color.GrayModel.Convert(x.At(i, j)).(color.Gray), color.GrayModel.Convert(y.At(i, j)).(color.Gray)
			if math.Abs(float64(p.Y)-float64(q.Y)) > 40 {
				differ++
			}
		}
	}
	if share := float64(differ) / float64(size.X*size.Y); share > 9e-4 {
		return fmt.Errorf("%.2f %% of it look different", 100*share)
	}
	return nil
}

func picture(name string) (image.Image, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	return png.Decode(bytes.NewReader(data))
}
