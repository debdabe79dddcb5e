package report

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

func sampleComparison() *result.Comparison {
	shift, smallest := 3.1, 1.2
	before, after := stats.Estimate{Median: -2, N: 8}, stats.Estimate{Median: 1.1, N: 8}
	iv := &stats.Interval{Low: 1.9, High: 4.2, Coverage: 0.95}
	change := result.Change{String: 2, Note: "B<3>", Test: "tap", Measure: "balance", Unit: "dB", Before: &before, After: &after,
		Shift: &shift, Interval: iv, P: 0.0001, AdjustedP: 0.0004, WholeP: 0.002, Verdict: result.Rose, Survives: true, Smallest: &smallest}
	mirror := change
	mirror.String, mirror.Verdict, mirror.Explained = 1, result.Fell, "another string moved the mean"
	unknown := result.Change{String: 3, Test: "pluck", Measure: "T60", Unit: "s", Before: &before, After: &after, Verdict: result.CannotTell}
	return &result.Comparison{
		Tool: "test", Before: result.ComparedStage{Name: "wired"}, After: result.ComparedStage{Name: "glued"}, Sentence: "The answer.",
		Warnings: []string{"The sample rates differ."}, Alone: []result.AloneShift{{String: 2, Test: "tap", DB: 4.1, Interval: iv}},
		Changes: []result.Change{change, mirror, unknown}, Common: []result.CommonShift{{Test: "tap", Strings: []int{1, 3, 4}}},
	}
}

func TestComparisonReport(t *testing.T) {
	dir := t.TempDir()
	if err := WriteComparison(t.Context(), sampleComparison(), dir); err != nil {
		t.Fatal(err)
	}
	text := readText(t, dir, "comparison.md")
	if at := strings.Index(text, "The answer."); at < 0 || at > 60 {
		t.Errorf("the answer does not come first: %q", text[:80])
	}
	for _, want := range []string{
		"> The sample rates differ.", "+3.1 (+1.9 to +4.2)", "fell ᵃ", "ᵃ another string moved the mean.", `B\<3\>`, "### Tap balance, dB", "1.2 dB would have been seen four times in five",
		"Taps beside the strings that kept their balance: string 2 +4.1 dB (+1.9 to +4.2).", "cannot tell",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("comparison.md lacks %q", want)
		}
	}
	half := sampleComparison()
	half.Common[0].Strings = []int{1}
	if text := string(comparisonMarkdown(half, nil)); !strings.Contains(text, "either side can have moved") {
		t.Errorf("of two strings one is told to have stayed: %s", text)
	}
	rows, err := csv.NewReader(strings.NewReader(readText(t, dir, "comparison.csv"))).ReadAll()
	if err != nil || len(rows) != 4 || rows[1][7] != "3.1" || rows[3][7] != "" {
		t.Errorf("CSV %v, %v", rows, err)
	}
	for line := range strings.Lines(ComparisonSummary(sampleComparison(), Paint{})) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
}

func TestTrendReport(t *testing.T) {
	shift := 3.1
	est := func(v float64) *stats.Estimate {
		return &stats.Estimate{Median: v, N: 8, Interval: &stats.Interval{Low: v - 1, High: v + 1, Coverage: 0.95}}
	}
	trend := &result.Trend{
		Tool: "test", Build: "Sample", Notes: []string{"wired: its takes are gone."},
		Stages: []result.TrendStage{
			{ComparedStage: result.ComparedStage{Name: "wired", Date: "2026-01-02", Verdict: result.Stop}, Earlier: true},
			{ComparedStage: result.ComparedStage{Name: "glued", Verdict: result.Ready}, Since: "String 2 grew."},
		},
		Series: []result.Series{
			{String: 2, Test: "tap", Measure: "balance", Unit: "dB", Points: []result.TrendPoint{{Estimate: est(-2)}, {Estimate: est(1.1), Shift: &shift, Verdict: result.Rose, Survives: true}}},
			{String: 1, Test: "tap", Measure: "balance", Unit: "dB", Points: []result.TrendPoint{{}, {Estimate: est(0), Verdict: result.Fell, Explained: "gain"}}},
		},
	}
	dir := t.TempDir()
	if err := WriteTrend(t.Context(), trend, dir); err != nil {
		t.Fatal(err)
	}
	text := readText(t, dir, "trend.md")
	for _, want := range []string{"read from its earlier report", "its takes are gone", "1.1 (0.1 to 2.1) ▲", "0.0 (−1.0 to 1.0) |", "2 at glued", "String 2 grew."} {
		if !strings.Contains(strings.ToLower(text), strings.ToLower(want)) {
			t.Errorf("trend.md lacks %q:\n%s", want, text)
		}
	}
	rows, err := csv.NewReader(strings.NewReader(readText(t, dir, "trend.csv"))).ReadAll()
	if err != nil || len(rows) != 4 {
		t.Errorf("CSV %v, %v", rows, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "trend-tap-balance.png")); err != nil {
		t.Error(err)
	}
}

func readText(t *testing.T, dir, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
