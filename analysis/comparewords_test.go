package analysis

import (
	"strings"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

func around(v float64) *stats.Interval {
	return &stats.Interval{Low: v - 1.5, High: v + 1.7, Coverage: 0.95}
}

func realChange(str int, test, measure, unit string, v, size float64) result.Change {
	verdict := result.Rose
	if v < 0 {
		verdict = result.Fell
	}
	return result.Change{String: str, Test: test, Measure: measure, Unit: unit, Shift: &v, Interval: around(v), Verdict: verdict, Survives: true, Size: size}
}

func TestComparisonSentence(t *testing.T) {
	smallest := 1.4
	calm := result.Change{String: 1, Test: "tap", Measure: "balance", Unit: "dB", Verdict: result.NoChangeSeen, Smallest: &smallest}
	alone := []result.AloneShift{{String: 2, Test: "tap", DB: 4.1, Interval: around(4.1)}, {String: 2, Test: "pluck", DB: 3, Interval: around(3)}}
	gluing := result.ComparedStage{Name: "wired", NextStep: "gluing"}
	cases := map[string]struct {
		c    result.Comparison
		want string
	}{
		"one string": {
			result.Comparison{Before: gluing, Alone: alone, Changes: []result.Change{calm, realChange(2, "tap", "balance", "dB", 3, 1)}},
			"Gluing made string 2 4.1 dB louder beside the others (2.6 to 5.8); nothing else changed by more than this data can show.",
		},
		"one string, the others as they were": {
			result.Comparison{Before: gluing, Alone: alone[:1], Changes: []result.Change{calm}, Common: []result.CommonShift{{Test: "tap", Strings: []int{1, 3, 4}, DB: 0.2, CanBe: "no more than chance"}}},
			"Gluing made string 2 4.1 dB louder (2.6 to 5.8); nothing else changed by more than this data can show.",
		},
		"two strings apart": {
			result.Comparison{Before: gluing, Changes: []result.Change{calm}, Common: []result.CommonShift{{Test: "tap", Strings: []int{1, 3}, DB: 0.2}},
				Alone: []result.AloneShift{alone[0], {String: 4, Test: "tap", DB: -3, Interval: around(-3)}}},
			"Gluing made string 2 4.1 dB louder against strings 1 and 3 (2.6 to 5.8) and string 4 3.0 dB quieter against strings 1 and 3 (1.3 to 4.5); nothing else changed by more than this data can show.",
		},
		"two strings apart from three": {
			result.Comparison{Before: gluing, Changes: []result.Change{calm}, Common: []result.CommonShift{{Test: "tap", Strings: []int{1, 3, 5}, DB: 0.2}},
				Alone: []result.AloneShift{alone[0], {String: 4, Test: "tap", DB: -3, Interval: around(-3)}}},
			"Gluing made string 2 4.1 dB louder than strings 1, 3 and 5 (2.6 to 5.8) and string 4 3.0 dB quieter than strings 1, 3 and 5 (1.3 to 4.5); nothing else changed by more than this data can show.",
		},
		"too small to matter": {
			result.Comparison{Before: gluing, Changes: []result.Change{calm, realChange(1, "pluck", "T60", "s", 0.3, 9), realChange(1, "tap", "level", "dBFS", 3, 1)}},
			"Gluing changed nothing by as much as matters; the table has 1 smaller change beyond chance.",
		},
		"nothing, no step told": {
			result.Comparison{Before: result.ComparedStage{Name: "a"}, After: result.ComparedStage{Name: "b"}, Changes: []result.Change{calm}},
			"The step from a to b changed nothing by more than this data can show (1.4 dB in tap balance).",
		},
		"cannot tell": {
			result.Comparison{Before: gluing, Changes: []result.Change{{Verdict: result.CannotTell}}},
			"This data cannot tell whether anything changed; record six or more events a string at both stages.",
		},
		"nothing in common": {result.Comparison{Before: gluing}, "The two stages have no measure in common, so nothing can be compared."},
		"many, most important first": {
			result.Comparison{Before: gluing, Facts: []result.FactChange{{String: 3, Before: "reversed", After: "same"}}, Changes: []result.Change{
				realChange(1, "tap", "response low", "dB", 2, 1), realChange(1, "pluck", "T60", "s", -3, 0.5),
				realChange(0, "quiet", "hum", "dBFS", -8, 1), realChange(4, "tap", "response high", "dB", -3, 1)}},
			"Gluing made string 3 move the same way round as the others and the hum 8.0 dB quieter (6.3 to 9.5), and 3 more changes.",
		},
		"gain": {
			result.Comparison{Before: gluing, Gain: &result.GainMove{DB: -6, Interval: around(-6)}, Changes: []result.Change{calm},
				Common: []result.CommonShift{{Test: "tap", Strings: []int{1, 2}, DB: -6.2, Interval: around(-6.2), Real: true, CanBe: gainMoved}}},
			"The input gain moved by −6.0 dB (−7.5 to −4.3), so balance and shape are compared, not level. Gluing changed nothing by more than this data can show (1.4 dB in tap balance).",
		},
		"hand": {
			result.Comparison{Before: gluing, Changes: []result.Change{calm},
				Common: []result.CommonShift{{Test: "tap", Strings: []int{1, 2}, DB: 3, Interval: around(3), Real: true, Survives: true, CanBe: "the hand was harder or all discs changed"}}},
			"Gluing changed nothing by more than this data can show (1.4 dB in tap balance).",
		},
	}
	for name, k := range cases {
		if got, _ := comparisonWords(&k.c); got != k.want {
			t.Errorf("%s:\n got %s\nwant %s", name, got, k.want)
		}
	}
}

// TestWhichSideMoved: where no more strings kept together than moved apart,
// the details say that either side can have moved.
func TestWhichSideMoved(t *testing.T) {
	kept := func(strs ...int) []result.CommonShift { return []result.CommonShift{{Test: "tap", Strings: strs}} }
	apart := func(strs ...int) (out []result.AloneShift) {
		for _, s := range strs {
			out = append(out, result.AloneShift{String: s, Test: "tap", DB: 4, Interval: around(4)})
		}
		return out
	}
	for want, c := range map[string]result.Comparison{
		"By tap, strings 3 and 4 moved apart from strings 1 and 2, which are no more than half: which of them moved and which stayed, these recordings cannot show.": {Common: kept(1, 2), Alone: apart(4, 3)},
		"By tap, string 2 moved apart from the other: which of them moved and which stayed, these recordings cannot show.":                                           {Alone: apart(2)},
		"": {Common: kept(1, 2), Alone: apart(3)},
	} {
		_, details := comparisonWords(&c)
		if got := strings.Join(details, " "); !strings.Contains(got, want) || want == "" && got != "" {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// TestHandOrDiscs holds the sentence to a hand that was harder on all strings.
func TestHandOrDiscs(t *testing.T) {
	s := scene{strings: 4, taps: 12, takes: 1, spreadDB: 1, handDB: 4}
	for _, silent := range []bool{false, true} {
		s.withoutGap = silent
		o := compareScene(s)
		want := "it was not the input gain"
		if silent {
			want = "record silence at both stages"
		}
		if text := strings.Join(o.Details, " "); len(o.Alone) > 0 || !strings.Contains(text, want) || !strings.Contains(text, "the hand was harder") {
			t.Errorf("silence missing %v: %q", silent, o.Details)
		}
	}
}
