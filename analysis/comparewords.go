package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// Up to tellAtMost changes are named in the answer; of more, tellOfMany.
const (
	tellAtMost = 3
	tellOfMany = 2
)

// said is one change in words that follow "made", with its weight: how many
// times the size that matters it is.
type said struct {
	words  string
	weight float64
}

// comparisonWords answers first, in a short sentence: what changed beyond what
// the data can show, the most important first, as the work of the step between
// the stages. The details are what it leaves out.
func comparisonWords(c *result.Comparison) (sentence string, details []string) {
	var all []said
	all = append(all, factWords(c)...)
	all = append(all, aloneWords(c)...)
	all = append(all, otherWords(c)...)
	slices.SortStableFunc(all, func(a, b said) int { return cmp.Compare(b.weight, a.weight) })
	sentence = mainWords(c, all)
	if c.Gain != nil {
		sentence = fmt.Sprintf("The input gain moved by %s dB%s, so balance and shape are compared, not level. ", signedDB(c.Gain.DB), within(c.Gain.Interval, false)) + sentence
		details = append(details, "The input gain: "+c.Gain.Evidence+".")
	}
	for _, w := range all[named(all):] {
		details = append(details, capital(w.words)+".")
	}
	details = append(details, sideWords(c)...)
	details = append(details, commonWords(c)...)
	if n := onlyInFamily(c); n > 0 {
		details = append(details, fmt.Sprintf("%s in brackets in the table would stand if nothing else had been asked; among %d questions that is no evidence.", changesIn(n), c.Questions))
	}
	return sentence, append([]string{}, details...)
}

// named is how many changes the answer names.
func named(all []said) int {
	if len(all) <= tellAtMost {
		return len(all)
	}
	return tellOfMany
}

func changesIn(n int) string {
	if n == 1 {
		return "One change"
	}
	return fmt.Sprintf("%d changes", n)
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

// tooSmall counts the changes beyond chance that are smaller than what matters.
func tooSmall(c *result.Comparison) int {
	n := 0
	for _, ch := range c.Changes {
		if ch.Survives && ch.Measure != "level" && ch.Measure != "signal to noise" && ch.Explained == "" {
			n++
		}
	}
	return n
}

// onlyInFamily counts the changes that do not survive the whole comparison.
func onlyInFamily(c *result.Comparison) int {
	n := 0
	for _, ch := range c.Changes {
		if (ch.Verdict == result.Rose || ch.Verdict == result.Fell) && !ch.Survives {
			n++
		}
	}
	return n
}

// commonWords tell what strings share, and what that can come from.
func commonWords(c *result.Comparison) []string {
	var out []string
	for _, s := range c.Common {
		if s.Survives && s.CanBe != gainMoved && c.Stayed(s.Test) {
			out = append(out, fmt.Sprintf("%s came out %.1f dB %s%s: %s.", together(s), math.Abs(s.DB), louder(s.DB), within(s.Interval, s.DB < 0), s.CanBe))
		}
	}
	return out
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
		if n := tooSmall(c); n > 0 {
			return fmt.Sprintf("%s changed nothing by as much as matters; the table has %d smaller change%s beyond chance.", step, n, plural(n))
		}
		return step + " changed nothing by more than this data can show" + couldShow(c) + "."
	}
	var words []string
	for _, s := range all[:named(all)] {
		words = append(words, s.words)
	}
	end := "; nothing else changed by more than this data can show."
	if more := len(all) - named(all); more > 0 {
		end = fmt.Sprintf(", and %d more change%s.", more, plural(more))
	}
	return step + " made " + joined(words) + end
}

// joined lists a few things, "and" before the last of all.
func joined(words []string) string {
	if len(words) == 2 {
		return words[0] + " and " + words[1]
	}
	return strings.Join(words, ", ")
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

// couldShow says how large a change of one string would have been told four
// times in five, asked among all the questions.
func couldShow(c *result.Comparison) string {
	for _, test := range []string{"tap", "pluck", "tone"} {
		worst := 0.0
		for _, ch := range c.Changes {
			if ch.Test == test && ch.Measure == "balance" && ch.Smallest != nil {
				worst = math.Max(worst, *ch.Smallest*amongAll(c.Questions))
			}
		}
		if worst > 0 {
			return fmt.Sprintf(" (%.1f dB in %s balance)", worst, test)
		}
	}
	return ""
}

// amongAll is how many times a change must be larger to be seen as often among
// n questions as asked alone (normal values, the hardest place of
// Benjamini-Hochberg).
func amongAll(n int) float64 {
	z := distuv.UnitNormal.Quantile
	return (z(1-chance/2/float64(max(1, n))) + z(power)) / (z(1-chance/2) + z(power))
}

// together names the strings of a common shift.
func together(s result.CommonShift) string {
	return fmt.Sprintf("The %ss of %s together", s.Test, stringsWords(s.Strings))
}

// stringsWords is "strings 1, 2 and 4".
func stringsWords(numbers []int) string {
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = strconv.Itoa(n)
	}
	if len(words) == 1 {
		return "string " + words[0]
	}
	last := len(words) - 1
	return "strings " + strings.Join(words[:last], ", ") + " and " + words[last]
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
		switch w := words[[2]string{f.Before, f.After}]; {
		case w != "":
			out = append(out, said{fmt.Sprintf("string %d %s", f.String, w), factWeight})
		case f.String > 0:
		case f.Before == notSeen:
			out = append(out, said{"a hum line come (" + f.What + ", " + f.After + ")", 1})
		case f.After == notSeen:
			out = append(out, said{"a hum line go (" + f.What + ", " + f.Before + ")", 1})
		default:
			out = append(out, said{"all strings together move the other way round (wires swapped, or the input inverts)", factWeight})
		}
	}
	return out
}

// levelWeight puts how loud a string is before what it sounds like.
const levelWeight = 10

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
		out = append(out, said{fmt.Sprintf("string %d%s %.1f dB %s%s%s", a.String, what, math.Abs(a.DB), louder(a.DB), beside(a, c), within(a.Interval, a.DB < 0)), levelWeight * math.Abs(a.DB)})
	}
	return out
}

// beside names what a string is louder than, where that could be doubted:
// nothing where the others stayed as they were.
func beside(a result.AloneShift, c *result.Comparison) string {
	apart := 0
	for _, other := range c.Alone {
		if other.Test == a.Test {
			apart++
		}
	}
	for _, s := range c.Common {
		switch {
		case s.Test != a.Test:
		case apart > 1 && len(s.Strings) > tellAtMost:
			return " beside those that kept together"
		case !c.Stayed(a.Test):
			return " against " + stringsWords(s.Strings)
		case apart > 1:
			return " than " + stringsWords(s.Strings)
		case !s.Real && c.Gain == nil:
			return ""
		}
	}
	return " beside the others"
}

// sideWords say where it cannot be told which strings moved: where no more kept
// together than moved apart from them.
func sideWords(c *result.Comparison) []string {
	var tests []string
	apart := map[string][]int{}
	for _, a := range c.Alone {
		if len(apart[a.Test]) == 0 {
			tests = append(tests, a.Test)
		}
		apart[a.Test] = append(apart[a.Test], a.String)
	}
	var out []string
	for _, test := range tests {
		if c.Stayed(test) {
			continue
		}
		from := "the other"
		for _, s := range c.Common {
			if s.Test == test {
				from = stringsWords(s.Strings) + ", which are no more than half"
			}
		}
		slices.Sort(apart[test])
		out = append(out, fmt.Sprintf("By %s, %s moved apart from %s: which of them moved and which stayed, these recordings cannot show.", test, stringsWords(apart[test]), from))
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
		switch {
		case !ch.Survives, ch.Measure == "level", ch.Measure == "signal to noise", ch.Explained != "", ch.Measure == "balance" && alone[ch.Test], !matters(ch.Interval, ch.Size), covered(ch, c):
			continue
		}
		out = append(out, said{changeWords(ch), math.Abs(*ch.Shift) / ch.Size})
	}
	return out
}

// coveredBy are measures that say little beside another one that went the
// same way.
var coveredBy = map[string]string{humLine: "hum", "THD+N": "THD", "floor A-weighted": "floor without hum"}

func covered(ch result.Change, c *result.Comparison) bool {
	by := coveredBy[familyOf(ch.Test, ch.Measure)[1]]
	for _, other := range c.Changes {
		if other.Measure == by && other.Test == ch.Test && other.String == ch.String && other.Survives && other.Verdict == ch.Verdict {
			return true
		}
	}
	return false
}

// measureWords name a measure and the two ways it can go.
var measureWords = map[[2]string][3]string{
	{"tap", "balance"}:               {"tap balance", "higher", "lower"},
	{"pluck", "balance"}:             {"pluck balance", "higher", "lower"},
	{"tone", "balance"}:              {"tone balance", "higher", "lower"},
	{"tap", "response low"}:          {"taps", "fuller in the bass", "thinner in the bass"},
	{"tap", "response high"}:         {"taps", "brighter", "duller"},
	{"pluck", "fundamental"}:         {"pitch", "higher", "lower"},
	{"pluck", "T60"}:                 {"sustain (T60)", "longer", "shorter"},
	{"pluck", "late T60"}:            {"late sustain (T60)", "longer", "shorter"},
	{"tone", "THD"}:                  {"distortion (THD)", "higher", "lower"},
	{"quiet", "floor A-weighted"}:    {"the A-weighted noise floor", "louder", "quieter"},
	{"quiet", "floor without hum"}:   {"the hiss", "louder", "quieter"},
	{"quiet", "hum"}:                 {"the hum", "louder", "quieter"},
	{"quiet with hand", "hum"}:       {"the hum under a hand", "louder", "quieter"},
	{"tone", "THD+N"}:                {"distortion and noise (THD+N)", "higher", "lower"},
	{"sweep", "low corner"}:          {"the sweep's low corner", "higher", "lower"},
	{"gaps between events", "floor"}: {"the noise between events", "louder", "quieter"},
}

// nameOf is the measure of ch in words, and the two ways it can go.
func nameOf(ch result.Change) [3]string {
	if w, ok := measureWords[[2]string{ch.Test, ch.Measure}]; ok {
		return w
	}
	if hz, ok := strings.CutPrefix(ch.Measure, humLine+" "); ok {
		hand := ""
		if ch.Test == quietLabel(true) {
			hand = " under a hand"
		}
		return [3]string{"the hum's line at " + hz + hand, "louder", "quieter"}
	}
	return [3]string{ch.Test + " " + ch.Measure, "higher", "lower"}
}

func changeWords(ch result.Change) string {
	w := nameOf(ch)
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
