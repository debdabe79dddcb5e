package report

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/rivo/uniseg"
)

func rendered(t *testing.T, src []byte) string {
	t.Helper()
	var b bytes.Buffer
	if err := gfm.Convert(src, &b); err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// TestFoldingChangesNoMeaning: random words, marks of blocks among them, give
// the same HTML folded or not, and no line is wide that could be broken.
func TestFoldingChangesNoMeaning(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	words := []string{"tap", "−3.1", "dB,", "-", "+", "1.", "20)", "#", "##", "---", "===", ">", "a", "鳥の巣", "**loud**", "`x`", "(n", "18)", "extraordinarily", "\\|", "\\<"}
	for range 300 {
		var b strings.Builder
		b.WriteString([]string{"Begin ", "- Begin ", "12. Begin ", "> Begin ", "![Begin "}[rng.IntN(5)])
		image := strings.HasPrefix(b.String(), "!")
		for range rng.IntN(90) {
			b.WriteString(words[rng.IntN(len(words))] + " ")
		}
		b.WriteString("end.")
		if image {
			b.WriteString("](x.png)")
		}
		src := []byte(b.String() + "\n\nAfter.\n")
		got := folded(src)
		if want := rendered(t, src); rendered(t, got) != want {
			t.Fatalf("folded\n%s\nreads\n%s\nwant\n%s", got, rendered(t, got), want)
		}
		if again := folded(got); !bytes.Equal(again, got) {
			t.Errorf("folding twice changes\n%s\nto\n%s", got, again)
		}
	}
}

// TestReportsAreNarrow: plain text must fit a narrow editor, tables as nearly
// as their numbers let them.
func TestReportsAreNarrow(t *testing.T) {
	c, tr := wholeComparison(12), wholeTrend(12, "wired", "glued")
	all := map[string][]byte{"comparison": comparisonMarkdown(c, nil), "trend": trendMarkdown(tr, trendFigures(tr))}
	for name, r := range cases() {
		if name != "hostile" {
			all[name] = markdown(r, figuresOf(r))
		}
	}
	for name, words := range all {
		for line := range strings.SplitSeq(string(folded(words)), "\n") {
			wide := textColumns + 4
			if strings.HasPrefix(line, "|") {
				wide = 120
			}
			if n := uniseg.StringWidth(line); n > wide && strings.Contains(line, " ") {
				t.Errorf("%s: %d columns: %s", name, n, line)
			}
		}
	}
}
