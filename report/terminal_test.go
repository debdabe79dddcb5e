package report

import (
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"saddlewise/analysis/result"
)

var colourCode = regexp.MustCompile("\x1b\\[[0-9;]*m")

func TestSummaryFitsTheTerminal(t *testing.T) {
	for name, r := range cases() {
		for _, colour := range []bool{false, true} {
			text := Summary(r, Paint{Colour: colour})
			if !colour && strings.Contains(text, "\x1b") {
				t.Errorf("%s: colour where none was asked for", name)
			}
			bare := colourCode.ReplaceAllString(text, "")
			if bare != Summary(r, Paint{}) {
				t.Errorf("%s: colour changes the words", name)
			}
			for line := range strings.SplitSeq(bare, "\n") {
				if w := uniseg.StringWidth(line); w > terminalColumns {
					t.Errorf("%s: %d columns: %q", name, w, line)
				}
				if strings.ContainsAny(line, "\x1b\r\a") {
					t.Errorf("%s: control character in %q", name, line)
				}
			}
		}
	}
}

func TestSummaryOfLongWords(t *testing.T) {
	r := sample(2)
	r.Stage.Build = strings.Repeat("鳥", 100)
	r.Verdict.NextStep = strings.Repeat("x", 100)
	r.Findings = []result.Finding{{Severity: result.SeverityStop, Title: strings.Repeat("ß", 200) + " " + strings.Repeat("弦", 90)}}
	for line := range strings.SplitSeq(Summary(r, Paint{}), "\n") {
		if w := uniseg.StringWidth(line); w > terminalColumns {
			t.Errorf("%d columns: %q", w, line)
		}
	}
	if got := Summary(r, Paint{}); strings.Count(got, "弦") != 90 || strings.Count(got, "ß") != 200 {
		t.Error("a long finding lost characters")
	}
}

func TestBalanceBar(t *testing.T) {
	for _, c := range []struct {
		db   float64
		want string
	}{{0, "       |       "}, {2.2, "       |==     "}, {-3, "    ===|       "}, {-40, "=======|       "}, {0.4, "       |       "}} {
		if got := balanceBar(c.db); got != c.want {
			t.Errorf("%g dB: %q, want %q", c.db, got, c.want)
		}
	}
}

// TestHangCheckLine: no line wider than a terminal, no word lost, whatever the
// name; a line that fits stays as it is.
func TestHangCheckLine(t *testing.T) {
	for _, name := range []string{"tap-1.wav", "tap-1-" + strings.Repeat("late ", 30) + ".wav", "tap-2-" + strings.Repeat("鳥", 60) + ".wav", strings.Repeat("x", 200), ""} {
		line, _ := CheckLine(result.Take{File: name, Test: "tap", Events: 3, Facts: &result.TakeFacts{PeakDB: -50, ClipRuns: 3}})
		hung := HangCheckLine(line)
		for i, part := range strings.Split(hung, "\n") {
			if w := uniseg.StringWidth(part); w > terminalColumns || i > 0 && !strings.HasPrefix(part, "       ") {
				t.Errorf("%q: line %d is %d columns: %q", name, i, w, part)
			}
		}
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if squeeze(hung) != squeeze(line) || len(line) <= terminalColumns && hung != line {
			t.Errorf("%q became %q", line, hung)
		}
	}
}

func TestCheckLineIsOneLine(t *testing.T) {
	k := result.Take{File: hostile, Test: "tap", Events: 1, Facts: &result.TakeFacts{PeakDB: -50, ClipRuns: 2}}
	line, ok := CheckLine(k)
	if ok || strings.ContainsAny(line, "\n\x1b") || !strings.Contains(line, "clipped") {
		t.Errorf("got %q, %v", line, ok)
	}
	if line, ok := CheckLine(result.Take{Problem: "no WAV\nfile"}); ok || strings.Contains(line, "\n") {
		t.Errorf("got %q, %v", line, ok)
	}
	good := result.Take{File: "tap-1.wav", Test: "tap", Events: 8, Facts: &result.TakeFacts{PeakDB: -9}}
	if line, ok := CheckLine(good); !ok || !strings.HasPrefix(line, "good") {
		t.Errorf("got %q, %v", line, ok)
	}
}

// TestEveryTextFitsTheTerminal: random names, long, wide and hostile, widen no
// line of any summary.
func TestEveryTextFitsTheTerminal(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 15))
	name := func() string {
		parts := []string{"glued", "鳥の巣", "Ἀθήνα", "x̂", hostile, "👩‍🔧", strings.Repeat("w", 90), "пьезо", " "}
		var b strings.Builder
		for range 1 + rng.IntN(6) {
			b.WriteString(parts[rng.IntN(len(parts))] + " ")
		}
		return b.String()
	}
	for range 200 {
		r := sample(1 + rng.IntN(12))
		r.Stage.Build, r.Stage.Name, r.Stage.NextStep, r.Verdict.Sentence = name(), name(), name(), name()
		r.Strings[0].Note, r.Strings[0].Tap.ThroughBody = name(), true
		r.Strings[0].Tap.LevelDBFS, r.Strings[0].Tap.BalanceDB = quantityOf(-123.4, 1, 3), quantityOf(-99.9, 1, 3)
		r.Strings[0].Pluck.Cents, r.Strings[0].Pluck.T60S = quantityOf(-1234.5, 1, 3), quantityOf(123.4, 1, 3)
		r.Findings = []result.Finding{{Severity: result.SeverityRecheck, Title: name()}}
		r.Problems = []result.Problem{{Text: name()}}
		c, tr := wholeComparison(2), wholeTrend(2, name(), name())
		c.Sentence, c.Warnings, c.Details, c.Changes[0].Note = name(), []string{name()}, []string{name()}, name()
		tr.Notes, tr.Stages[0].Since, tr.Stages[1].Earlier = []string{name()}, name(), true
		for _, text := range []string{Summary(r, Paint{}), ComparisonSummary(c, Paint{}), TrendSummary(tr, Paint{})} {
			for line := range strings.SplitSeq(text, "\n") {
				if w := uniseg.StringWidth(line); w > terminalColumns {
					t.Fatalf("%d columns: %q", w, line)
				}
				if strings.ContainsAny(line, "\x1b\r\a") {
					t.Fatalf("control character in %q", line)
				}
			}
		}
	}
}
