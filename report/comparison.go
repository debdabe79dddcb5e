package report

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"saddlewise/analysis/result"
)

// WriteComparison puts comparison.md, its pictures, comparison.json and
// comparison.csv into dir, and what else is asked for.
func WriteComparison(ctx context.Context, c *result.Comparison, dir string, extra ...Format) error {
	var figures []figure
	for _, f := range []*figure{changesFigure(c), quietChangesFigure(c), responseChangeFigure(c), sweepChangeFigure(c)} {
		if f != nil {
			figures = append(figures, *f)
		}
	}
	return document{
		name: "comparison", title: c.Before.Name + " and " + c.After.Name,
		words: comparisonMarkdown(c, figures), figures: figures,
		data: []output{encoding("comparison.json", c, ComparisonJSON), encoding("comparison.csv", c, comparisonCSV)},
	}.write(ctx, dir, extra)
}

// ComparisonJSON encodes the comparison as comparison.json holds it.
func ComparisonJSON(c *result.Comparison) ([]byte, error) { return encoded(c, "comparison") }

func comparisonCSV(c *result.Comparison) ([]byte, error) {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', 6, 64)
	}
	rows := [][]string{{"string", "note", "test", "measure", "unit", "before", "after", "shift", "low", "high", "coverage",
		"p", "adjusted_p", "whole_p", "verdict", "survives", "smallest", "more", "assumed_spread", "explained", "reason"}}
	for _, ch := range c.Changes {
		var low, high, cover *float64
		if ch.Interval != nil {
			low, high, cover = &ch.Interval.Low, &ch.Interval.High, &ch.Interval.Coverage
		}
		str, more := "", ""
		if ch.More != nil {
			more = strconv.Itoa(*ch.More)
		}
		if ch.String > 0 {
			str = strconv.Itoa(ch.String)
		}
		rows = append(rows, []string{str, ch.Note, ch.Test, ch.Measure, ch.Unit, number(&ch.Before.Median), number(&ch.After.Median),
			number(ch.Shift), number(low), number(high), number(cover), number(&ch.P), number(&ch.AdjustedP), number(&ch.WholeP), ch.Verdict,
			strconv.FormatBool(ch.Survives), number(ch.Smallest), more, strconv.FormatBool(ch.Assumed), ch.Explained, ch.Reason})
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write CSV: %w", err)
	}
	return buf.Bytes(), nil
}

func comparisonMarkdown(c *result.Comparison, figures []figure) []byte {
	var b strings.Builder
	title := escape(c.Before.Name) + " and " + escape(c.After.Name)
	if c.Build != "" {
		title = escape(c.Build) + ": " + title
	}
	fmt.Fprintf(&b, "# %s\n\n**%s**\n\n", title, escape(c.Sentence))
	for _, w := range c.Warnings {
		fmt.Fprintf(&b, "> %s\n\n", escape(w))
	}
	writeList(&b, "", c.Details, false)
	if len(c.Details) > 0 {
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "%s was judged %s, %s is %s.\n\n", escape(capital(c.Before.Name)), c.Before.Verdict, escape(c.After.Name), c.After.Verdict)
	writeFactChanges(&b, c)
	writeAlone(&b, c)
	for _, f := range figures {
		fmt.Fprintf(&b, "![%s](%s.png)\n\n%s\n\n", escape(f.title), f.name, escape(f.caption))
	}
	writeChanges(&b, c)
	writeCommon(&b, c)
	b.WriteString(comparisonMethod)
	fmt.Fprintf(&b, "\nMade by %s.\n", escape(c.Tool))
	return []byte(b.String())
}

func writeFactChanges(b *strings.Builder, c *result.Comparison) {
	for _, f := range c.Facts {
		what := capital(f.What)
		if f.String > 0 {
			what = "String " + stringName(result.String{Number: f.String, Note: f.Note}) + ": " + f.What
		}
		fmt.Fprintf(b, "- %s was “%s”, is “%s”.\n", escape(what), escape(f.Before), escape(f.After))
	}
	if len(c.Facts) > 0 {
		b.WriteString("\n")
	}
}

func writeCommon(b *strings.Builder, c *result.Comparison) {
	if len(c.Common) == 0 {
		return
	}
	b.WriteString("## What all strings share\n\n")
	for _, s := range c.Common {
		fmt.Fprintf(b, "- %ss moved by %s dB: %s.\n", s.Test, signed(s.DB, 1), s.CanBe)
	}
	b.WriteString("\n")
}

const comparisonMethod = `## Method

- **Change**: the Hodges-Lehmann shift, the median of all differences between
  an event after and an event before, with the interval that the exact
  rank-sum distribution gives (Hodges & Lehmann 1963; Mann & Whitney 1947).
- **Takes**: taps of one take share one hand. The spread between takes of one
  string is in every interval.
- **Corrected twice**: a measure is one question asked of every string; a
  verdict holds its table to one false word in twenty tables (Holm 1979). A
  verdict without brackets holds among all questions of the comparison, too:
  of such, at most one in twenty is false (Benjamini & Hochberg 1995). Where
  nothing changed at all, nineteen comparisons in twenty say just that.
- **Rose, fell**: corrected p of 4 % or less, since intervals of few values are
  up to a point off what they state. **No change seen**: none. **Cannot
  tell**: the data could not have shown six times the size that matters.
- **Balance** does not hang on the input gain or on how hard the hand was. It
  is told beside the mean of all strings, so one string that grows louder moves
  the balance of all others down a little; its interval counts the scatter of
  every string (Satterthwaite 1946). "Beside the others" compares a string with
  those that kept their balance.
- **Responses**: halves of the intervals add in squares, and with them the
  spread between takes. Bands leave zero beyond chance among all bands.
`

// ComparisonSummary is what the terminal shows, in at most 80 columns.
func ComparisonSummary(c *result.Comparison, p Paint) string {
	var b strings.Builder
	b.WriteString(wrapped(c.Sentence, "", terminalColumns))
	for _, w := range c.Warnings {
		b.WriteString("Mind     " + strings.TrimLeft(wrapped(w, strings.Repeat(" ", 9), terminalColumns-9), " "))
	}
	for _, d := range c.Details {
		b.WriteString("- " + strings.TrimLeft(wrapped(d, "  ", terminalColumns-2), " "))
	}
	b.WriteString("\n")
	for _, f := range changeFamilies(c) {
		if f.changes[0].Measure != "level" && f.changes[0].Measure != "signal to noise" {
			f.summary(&b, p)
		}
	}
	return b.String()
}

// summary is the family on the terminal: what changed row by row, the rest in
// a line.
func (f changeFamily) summary(b *strings.Builder, p Paint) {
	still := 0
	for _, ch := range f.changes {
		if ch.Shift == nil || ch.Verdict != result.Rose && ch.Verdict != result.Fell {
			still++
			continue
		}
		d, interval := changeDigits(ch.Unit), ""
		if ch.Interval != nil {
			interval = signed(ch.Interval.Low, d) + " to " + signed(ch.Interval.High, d)
		}
		verdict := changeVerdict(ch)
		if ch.Survives {
			verdict = p.bold(verdict)
		}
		name := ch.Test + " " + ch.Measure
		fmt.Fprintf(b, "%s %s %s %s  %s\n", pad(clip(nameOrAll(ch), 8), 8), pad(clip(name, 30), 30),
			padLeft(signed(*ch.Shift, d)+" "+shiftUnit(ch.Unit), 9), padLeft(interval, 18), verdict)
	}
	if still > 0 {
		words := f.stillWords()
		rest := "all"
		if still < len(f.changes) {
			rest = "others"
		}
		b.WriteString(p.faint(fmt.Sprintf("%s %s %s", pad(rest, 8), pad(clip(f.title, 30), 30), words)) + "\n")
	}
}

func nameOrAll(ch result.Change) string {
	if ch.String == 0 {
		return "all"
	}
	return changeName(ch)
}

// stillWords are the verdicts of those that did not change.
func (f changeFamily) stillWords() string {
	seen, unknown := false, false
	for _, ch := range f.changes {
		seen = seen || ch.Verdict == result.NoChangeSeen
		unknown = unknown || ch.Verdict == result.CannotTell
	}
	switch {
	case !seen:
		return result.CannotTell
	case unknown:
		return result.NoChangeSeen + ", or " + result.CannotTell
	}
	return result.NoChangeSeen
}

func shiftUnit(unit string) string { return strings.Replace(unit, "dBFS", "dB", 1) }

// capital begins words with a capital letter.
func capital(words string) string {
	r, n := utf8.DecodeRuneInString(words)
	return string(unicode.ToUpper(r)) + words[n:]
}

// Wrap breaks a sentence into lines of at most 80 columns.
func Wrap(sentence string) string {
	return strings.TrimRight(wrapped(sentence, "", terminalColumns), "\n")
}

// writeAlone tells the strings that stand out from those that stayed, test by
// test.
func writeAlone(b *strings.Builder, c *result.Comparison) {
	var order []string
	words := map[string][]string{}
	for _, a := range c.Alone {
		if words[a.Test] == nil {
			order = append(order, a.Test)
		}
		w := fmt.Sprintf("string %s %s dB", stringName(result.String{Number: a.String, Note: a.Note}), signed(a.DB, 1))
		if a.Interval != nil {
			w += fmt.Sprintf(" (%s to %s)", signed(a.Interval.Low, 1), signed(a.Interval.High, 1))
		}
		words[a.Test] = append(words[a.Test], w)
	}
	for _, test := range order {
		beside := "beside the strings that kept their balance"
		if !c.Stayed(test) {
			beside = "against the strings that kept together (no more than half: either side can have moved)"
		}
		fmt.Fprintf(b, "- %ss %s: %s.\n", capital(test), beside, escape(listWords(words[test])))
	}
	if len(order) > 0 {
		b.WriteString("\nThe other strings' balance moves the other way with them: it is told beside the mean of all.\n\n")
	}
}

// changeDigits is how many decimals a change in unit deserves.
func changeDigits(unit string) int {
	switch unit {
	case "Hz":
		return 3
	case "s", "ms":
		return 2
	}
	return 1
}
