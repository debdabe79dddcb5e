package finding

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// quantity is n values spread evenly by width about median, with their
// interval.
func quantity(median, half float64, n int) result.Quantity {
	q := result.Quantity{Estimate: &stats.Estimate{Median: median, N: n}}
	if n >= 3 {
		q.Estimate.Interval = &stats.Interval{Low: median - half, High: median + half, Coverage: 0.95}
	}
	for i := range n {
		q.Values = append(q.Values, result.Value{Value: median + half*(2*float64(i)/float64(max(1, n-1))-1)})
	}
	return q
}

// healthy is a hand-made stage of four strings with nothing wrong.
func healthy() *result.Results {
	r := &result.Results{Stage: result.Stage{NextStep: "gluing"}}
	for _, l := range stage.Defaults() {
		r.Stage.Limits = append(r.Stage.Limits, result.Limit(l))
	}
	notes, hz := []string{"A3", "D3", "G2", "C2"}, []float64{220, 146.83, 98, 65.41}
	for i := range notes {
		r.Strings = append(r.Strings, result.String{
			Number: i + 1, Note: notes[i], TargetHz: &hz[i],
			Tap: &result.Tap{
				Takes: []int{i}, Events: make([]result.TapEvent, 8), LevelDBFS: quantity(-25, 1, 8), PeakDB: quantity(-12, 1, 8), SNRDB: quantity(60, 1, 8),
				ContactMS: quantity(0.5, 0.05, 8), Polarity: result.Polarity{Up: 8, Sign: 1, Relative: "same", P: 0.008},
				Response: &result.TapResponse{HighDB: quantity(-10, 1, 8)},
			},
			Pluck: &result.Pluck{LevelDBFS: quantity(-24, 1, 4), F1Hz: quantity(hz[i], 0.1, 4), Cents: quantity(0, 1, 4), TargetHz: &hz[i], TargetGiven: true, T60S: quantity(4, 0.2, 4), RattleDB: quantity(-75, 2, 4)},
		})
		r.Takes = append(r.Takes, result.Take{File: "tap-" + string(rune('1'+i)) + ".wav", Test: "tap", String: i + 1, Channel: 1, Channels: 1, DurationS: 9, Facts: &result.TakeFacts{PeakDB: -12, BitsUsed: 24}})
	}
	r.Quiet = []result.Quiet{{Label: "quiet", FloorDBFS: quantity(-85, 0.1, 8), FloorADBFS: quantity(-90, 0.1, 8), WithoutHumDBFS: quantity(-88, 0.1, 8)}}
	return r
}

func TestRulesOnHandMadeResults(t *testing.T) {
	clipLevel := -0.01
	for _, c := range []struct {
		name    string
		change  func(r *result.Results)
		id      string // empty: nothing above a note
		sev     result.Severity
		strings []int
	}{
		{"healthy", func(*result.Results) {}, "", "", nil},
		{"weak", func(r *result.Results) { r.Strings[1].Tap.LevelDBFS = quantity(-32, 1, 8) }, "disc weak", result.SeverityStop, []int{2}},
		{"straddling", func(r *result.Results) { r.Strings[1].Tap.LevelDBFS = quantity(-28.5, 2, 8); r.Strings[1].Pluck = nil }, "disc weak", result.SeverityRecheck, []int{2}},
		{"straddling, denied by plucks", func(r *result.Results) { r.Strings[1].Tap.LevelDBFS = quantity(-28.5, 2, 8) }, "", "", nil},
		{"weak and dull", func(r *result.Results) {
			r.Strings[2].Tap.LevelDBFS, r.Strings[2].Tap.Response.HighDB = quantity(-31, 1, 8), quantity(-19, 1, 8)
		}, "disc weak and dull", result.SeverityStop, []int{3}},
		{"weak, but clipped", func(r *result.Results) {
			r.Strings[1].Tap.LevelDBFS = quantity(-32, 1, 8)
			r.Takes[1].Facts.ClipRuns, r.Takes[1].Facts.ClipLevelDB = 9, &clipLevel
		}, "disc weak", result.SeverityRecheck, []int{2}},
		{"loud", func(r *result.Results) { r.Strings[3].Tap.LevelDBFS = quantity(-18, 1, 8) }, "disc loud", result.SeverityStop, []int{4}},
		{"dull", func(r *result.Results) { r.Strings[0].Tap.Response.HighDB = quantity(-23, 1, 8) }, "disc dull", result.SeverityRecheck, []int{1}},
		{"dead", func(r *result.Results) {
			r.Strings[0].Tap.LevelDBFS, r.Strings[0].Tap.ThroughBody = quantity(-47, 1, 8), true
		}, "disc dead", result.SeverityStop, []int{1}},
		{"dead or badly bonded", func(r *result.Results) {
			r.Strings[0].Tap.LevelDBFS, r.Strings[0].Tap.ThroughBody = quantity(-36, 1, 8), true
		}, "disc dead or badly bonded", result.SeverityStop, []int{1}},
		{"reversed", func(r *result.Results) {
			r.Strings[3].Tap.Polarity = result.Polarity{Down: 8, Sign: -1, Relative: "reversed", P: 0.008}
		}, "disc reversed", result.SeverityStop, []int{4}},
		{"silent", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Tap.LevelDBFS, r.Strings[i].Tap.PeakDB = quantity(-84, 1, 8), quantity(-70, 1, 8)
			}
		}, "whole pickup silent", result.SeverityStop, nil},
		{"loud hum is no silence", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Tap.SNRDB = quantity(5, 1, 8)
			}
		}, "", "", nil},
		{"joint", func(r *result.Results) {
			r.Strings[1].Tap.LevelDBFS.Values[0].Value, r.Strings[1].Tap.LevelDBFS.Values[1].Value = -50, -48
		}, "intermittent joint", result.SeverityRecheck, []int{2}},
		{"swapped plucks", func(r *result.Results) {
			r.Strings[0].Pluck.F1Hz, r.Strings[1].Pluck.F1Hz = quantity(146.8, 0.1, 4), quantity(220, 0.1, 4)
		}, "take may be misnamed", result.SeverityRecheck, []int{1, 2}},
		{"rattle", func(r *result.Results) { r.Strings[2].Pluck.RattleDB = quantity(-30, 2, 4) }, "rattle", result.SeverityRecheck, []int{3}},
		{"few taps", func(r *result.Results) { r.Strings[2].Tap.LevelDBFS = quantity(-25, 1, 2) }, "too few events", result.SeverityRecheck, []int{3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := healthy()
			c.change(r)
			Judge(r)
			if c.id == "" {
				if r.Verdict.Word != result.Ready {
					t.Errorf("verdict %q for %v", r.Verdict.Word, r.Verdict.Reasons)
				}
				return
			}
			i := slices.IndexFunc(r.Findings, func(f result.Finding) bool { return f.ID == c.id })
			if i < 0 {
				t.Fatalf("no %q in %v", c.id, r.Verdict.Reasons)
			}
			f := r.Findings[i]
			if f.Severity != c.sev || !slices.Equal(f.Strings, c.strings) || len(f.Evidence) == 0 || len(f.Next) == 0 {
				t.Errorf("got %s %v with %d lines of evidence, want %s %v", f.Severity, f.Strings, len(f.Evidence), c.sev, c.strings)
			}
			if f.HoldsUp != "gluing" {
				t.Errorf("holds up %q, want gluing", f.HoldsUp)
			}
		})
	}
}

// TestLimitsExist reads the rules' source for the limits that they use.
func TestLimitsExist(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`limitOf\(r, "(\w+)"\)`).FindAllStringSubmatch(string(text), -1) {
			used[m[1]] = true
		}
	}
	if len(used) < 10 {
		t.Fatalf("only %d limits found in the rules", len(used))
	}
	have := map[string]bool{}
	for _, l := range stage.Defaults() {
		have[l.Key] = true
	}
	for key := range used {
		if !have[key] {
			t.Errorf("no limit %s in stage.Defaults()", key)
		}
	}
}

func TestVerdictWords(t *testing.T) {
	r := healthy()
	Judge(r)
	if want := "Nothing in these recordings speaks against gluing."; r.Verdict.Sentence != want {
		t.Errorf("got %q, want %q", r.Verdict.Sentence, want)
	}
	r.Strings[3].Tap.Polarity.Relative = "reversed"
	r.Strings[1].Tap.LevelDBFS = quantity(-32, 1, 8)
	Judge(r)
	want := "The disc of string 4 (C2) is wired the wrong way round, and one thing more. Mend this before gluing, while it can still be mended."
	if r.Verdict.Word != result.Stop || r.Verdict.Sentence != want {
		t.Errorf("got %s %q, want %q", r.Verdict.Word, r.Verdict.Sentence, want)
	}
	if unknown := strings.Join(r.Verdict.Unknown, "; "); !strings.Contains(unknown, "one jack") || !strings.Contains(unknown, "swapped") {
		t.Errorf("coupling or swapped tap takes are not said to be unknowable: %s", unknown)
	}
}

func TestMoreEvents(t *testing.T) {
	for _, c := range []struct {
		q    result.Quantity
		want int
	}{
		{quantity(4, 2, 8), 24}, // gap 1, half 2: four times as many
		{quantity(5, 2, 8), 2},  // already out of reach
		{quantity(3.1, 2, 8), 40},
		{quantity(4, 0, 2), 6}, // no interval yet
	} {
		if got := moreEvents(c.q, 3); got != c.want {
			t.Errorf("%s against 3: got %d, want %d", said(c.q, "dB", 1), got, c.want)
		}
	}
}
