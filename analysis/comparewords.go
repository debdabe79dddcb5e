package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// tellAtMost is how many changes the sentence names.
const tellAtMost = 3

// said is one change in words that follow "made", with its weight: how many
// times the size that matters it is.
type said struct {
	words  string
	weight float64
}

// comparisonSentence answers first: what changed beyond what the data can
// show, the most important first, as the work of the step between the stages.
func comparisonSentence(c *result.Comparison) string {
	var all []said
	all = append(all, factWords(c)...)
	all = append(all, aloneWords(c)...)
	all = append(all, otherWords(c)...)
	slices.SortStableFunc(all, func(a, b said) int { return cmp.Compare(b.weight, a.weight) })
	parts := []string{}
	if c.Gain != nil {
		parts = append(parts, fmt.Sprintf("The input gain moved by %s dB%s, so balance and shape are compared, not level.", signedDB(c.Gain.DB), within(c.Gain.Interval, false)))
	}
	parts = append(parts, mainWords(c, all))
	for _, s := range c.Common {
		if s.Real && s.CanBe != gainMoved && mostStrings(s, c) {
			parts = append(parts, fmt.Sprintf("%s came out %.1f dB %s%s: %s.", together(s), math.Abs(s.DB), louder(s.DB), within(s.Interval, s.DB < 0), s.CanBe))
			break
		}
	}
	return strings.Join(parts, " ")
}

// mostStrings tells whether more strings share the shift than do not: where
// half of them moved apart, what is common is a matter of view.
func mostStrings(s result.CommonShift, c *result.Comparison) bool {
	apart := 0
	for _, a := range c.Alone {
		if a.Test == s.Test {
			apart++
		}
	}
	return len(s.Strings) > apart
}

func mainWords(c *result.Comparison, all []said) string {
	step := "The step from " + c.Before.Name + " to " + c.After.Name
	if c.Before.NextStep != "" {
		step = capital(c.Before.NextStep)
	}
	switch {
	case len(all) > 0:
	case len(c.Changes) == 0 && len(c.Facts) == 0:
		return "The two stages have no measure in common, so nothing can be compared."
	case nothingTold(c):
		return "This data cannot tell whether anything changed; record six or more events a string at both stages."
	default:
		return step + " changed nothing by more than this data can show" + couldShow(c) + "."
	}
	words := []string{}
	for _, s := range all[:min(len(all), tellAtMost)] {
		words = append(words, s.words)
	}
	end := "; nothing else changed by more than this data can show."
	if more := len(all) - tellAtMost; more > 0 {
		end = fmt.Sprintf(", and %d more; the rest changed by no more than this data can show.", more)
	}
	return step + " made " + strings.Join(words, ", ") + end
}

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

func nothingTold(c *result.Comparison) bool {
	for _, ch := range c.Changes {
		if ch.Verdict != result.CannotTell {
			return false
		}
	}
	return true
}

// couldShow says how large a change of one string would have been seen.
func couldShow(c *result.Comparison) string {
	for _, test := range []string{"tap", "pluck", "tone"} {
		worst := 0.0
		for _, ch := range c.Changes {
			if ch.Test == test && ch.Measure == "balance" && ch.Smallest != nil {
				worst = math.Max(worst, *ch.Smallest)
			}
		}
		if worst > 0 {
			return fmt.Sprintf(" (%.1f dB in %s balance)", worst, test)
		}
	}
	return ""
}

// together names the strings of a common shift.
func together(s result.CommonShift) string {
	words := []string{}
	for _, n := range s.Strings {
		words = append(words, fmt.Sprint(n))
	}
	return fmt.Sprintf("The %ss of strings %s together", s.Test, strings.Join(words, ", "))
}

// factWeight puts what is no number before every number.
const factWeight = 1000

func factWords(c *result.Comparison) []said {
	words := map[[2]string]string{
		{"reversed", "same"}:                       "move the same way round as the others",
		{"same", "reversed"}:                       "move against the others (its polarity is reversed)",
		{"alive", "heard through the bridge only"}: "fall silent (it is heard through the bridge only)",
		{"heard through the bridge only", "alive"}: "speak through its own disc",
		{"group A", "same"}:                        "agree with the others in polarity",
		{"group B", "same"}:                        "agree with the others in polarity",
	}
	var out []said
	for _, f := range c.Facts {
		if w := words[[2]string{f.Before, f.After}]; w != "" {
			out = append(out, said{fmt.Sprintf("string %d %s", f.String, w), factWeight})
		}
	}
	return out
}

// aloneWords are the strings that grew louder or quieter beside the others. A
// pluck or tone that says the same as the tap is not told again.
func aloneWords(c *result.Comparison) []said {
	var out []said
	told := map[int]float64{}
	for _, a := range c.Alone {
		if told[a.String]*a.DB > 0 || !matters(a.Interval, 1) {
			continue
		}
		told[a.String] = a.DB
		what := ""
		if a.Test != "tap" {
			what = "'s " + a.Test
		}
		out = append(out, said{fmt.Sprintf("string %d%s %.1f dB %s beside the others%s", a.String, what, math.Abs(a.DB), louder(a.DB), within(a.Interval, a.DB < 0)), math.Abs(a.DB)})
	}
	return out
}

// matters tells whether a change can be as large as size.
func matters(i *stats.Interval, size float64) bool {
	return i != nil && math.Max(math.Abs(i.Low), math.Abs(i.High)) >= size
}

// otherWords are the changes beside level and balance.
func otherWords(c *result.Comparison) []said {
	alone := map[string]bool{}
	for _, a := range c.Alone {
		alone[a.Test] = true
	}
	var out []said
	for _, ch := range c.Changes {
		real := ch.Verdict == result.Rose || ch.Verdict == result.Fell
		switch {
		case !real, ch.Measure == "level", ch.Explained != "", ch.Measure == "balance" && alone[ch.Test], !matters(ch.Interval, ch.Size):
			continue
		}
		out = append(out, said{changeWords(ch), math.Abs(*ch.Shift) / ch.Size})
	}
	return out
}

// measureWords name a measure and the two ways it can go.
var measureWords = map[[2]string][3]string{
	{"tap", "balance"}:             {"tap balance", "higher", "lower"},
	{"pluck", "balance"}:           {"pluck balance", "higher", "lower"},
	{"tone", "balance"}:            {"tone balance", "higher", "lower"},
	{"tap", "response low"}:        {"taps", "fuller in the bass", "thinner in the bass"},
	{"tap", "response high"}:       {"taps", "brighter", "duller"},
	{"pluck", "fundamental"}:       {"pitch", "higher", "lower"},
	{"pluck", "T60"}:               {"sustain (T60)", "longer", "shorter"},
	{"pluck", "late T60"}:          {"late sustain (T60)", "longer", "shorter"},
	{"tone", "THD"}:                {"distortion (THD)", "higher", "lower"},
	{"quiet", "floor A-weighted"}:  {"the A-weighted noise floor", "louder", "quieter"},
	{"quiet", "floor without hum"}: {"the hiss", "louder", "quieter"},
	{"quiet", "hum"}:               {"the hum", "louder", "quieter"},
	{"quiet with hand", "hum"}:     {"the hum under a hand", "louder", "quieter"},
}

func changeWords(ch result.Change) string {
	w, ok := measureWords[[2]string{ch.Test, ch.Measure}]
	if !ok {
		w = [3]string{ch.Test + " " + ch.Measure, "higher", "lower"}
	}
	what, way := w[0], w[1]
	if ch.Verdict == result.Fell {
		way = w[2]
	}
	if ch.String > 0 {
		what = fmt.Sprintf("string %d's %s", ch.String, what)
	}
	digits := 1
	if ch.Unit == "Hz" || ch.Unit == "s" {
		digits = 2
	}
	return fmt.Sprintf("%s %.*f %s %s%s", what, digits, math.Abs(*ch.Shift), shiftUnit(ch.Unit), way, bracket(ch.Interval, *ch.Shift < 0, digits))
}

// shiftUnit is the unit of a difference.
func shiftUnit(unit string) string { return strings.Replace(unit, "dBFS", "dB", 1) }

// within is an interval in dB in brackets, turned round for a fall.
func within(i *stats.Interval, fell bool) string { return bracket(i, fell, 1) }

func bracket(i *stats.Interval, fell bool, digits int) string {
	if i == nil {
		return ""
	}
	low, high := i.Low, i.High
	if fell {
		low, high = -high, -low
	}
	return fmt.Sprintf(" (%s to %s)", minus(low, digits), minus(high, digits))
}

// minus writes v with a true minus.
func minus(v float64, digits int) string {
	return strings.Replace(fmt.Sprintf("%.*f", digits, v), "-", "−", 1)
}

func signedDB(v float64) string { return strings.Replace(fmt.Sprintf("%+.1f", v), "-", "−", 1) }
