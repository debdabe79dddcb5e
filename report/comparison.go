package report

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"saddlewise/analysis/result"
)

// WriteComparison puts comparison.md, its pictures, comparison.json and
// comparison.csv into dir, and what else is asked for.
func WriteComparison(ctx context.Context, c *result.Comparison, dir string, extra ...Format) error {
	var figures []figure
	for _, f := range []*figure{changesFigure(c), responseChangeFigure(c)} {
		if f != nil {
			figures = append(figures, *f)
		}
	}
	text, err := comparisonJSON(c)
	if err != nil {
		return err
	}
	rows, err := comparisonCSV(c)
	if err != nil {
		return err
	}
	return document{
		name: "comparison", title: c.Before.Name + " and " + c.After.Name,
		words: comparisonMarkdown(c, figures), figures: figures,
		data: []file{{"comparison.json", text}, {"comparison.csv", rows}},
	}.write(ctx, dir, extra)
}

// ComparisonJSON encodes the comparison as comparison.json holds it.
func ComparisonJSON(c *result.Comparison) ([]byte, error) { return comparisonJSON(c) }

func comparisonJSON(c *result.Comparison) ([]byte, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(c); err != nil {
		return nil, fmt.Errorf("encode comparison: %w", err)
	}
	return buf.Bytes(), nil
}

func comparisonCSV(c *result.Comparison) ([]byte, error) {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', 6, 64)
	}
	rows := [][]string{{"string", "note", "test", "measure", "unit", "before", "after", "shift", "low", "high", "p", "adjusted_p", "verdict", "smallest"}}
	for _, ch := range c.Changes {
		var low, high *float64
		if ch.Interval != nil {
			low, high = &ch.Interval.Low, &ch.Interval.High
		}
		str := ""
		if ch.String > 0 {
			str = strconv.Itoa(ch.String)
		}
		rows = append(rows, []string{str, ch.Note, ch.Test, ch.Measure, ch.Unit, number(&ch.Before.Median), number(&ch.After.Median),
			number(ch.Shift), number(low), number(high), number(&ch.P), number(&ch.AdjustedP), ch.Verdict, number(ch.Smallest)})
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
	fmt.Fprintf(&b, "%s was judged %s, %s is %s.\n\n", escape(c.Before.Name), c.Before.Verdict, escape(c.After.Name), c.After.Verdict)
	for _, w := range c.Warnings {
		fmt.Fprintf(&b, "> %s\n\n", escape(w))
	}
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
		fmt.Fprintf(b, "- String %s: %s was “%s”, is “%s”.\n", escape(stringName(result.String{Number: f.String, Note: f.Note})), escape(f.What), escape(f.Before), escape(f.After))
	}
	if len(c.Facts) > 0 {
		b.WriteString("\n")
	}
}

func writeChanges(b *strings.Builder, c *result.Comparison) {
	t := table{
		head:  []string{"string", "test", "measure", "before", "after", "change (interval)", "p", "together", "verdict", "smallest seen"},
		right: []bool{false, false, false, true, true, true, true, true, false, true},
	}
	for _, ch := range c.Changes {
		t.add(changeCells(ch)...)
	}
	b.WriteString("## Every change that was asked about\n\n")
	b.WriteString(t.String() + "\n")
	b.WriteString("p is for the question asked of one string alone, \"together\" corrected for having asked it of all. " +
		"\"Smallest seen\" is the change that this data would have shown four times in five.\n\n")
	more, takes := 0, false
	for _, ch := range c.Changes {
		if ch.More != nil && ch.Measure == "balance" {
			more = max(more, *ch.More)
		}
		takes = takes || ch.Assumed
	}
	if more > 0 {
		fmt.Fprintf(b, "To see a change of 1 dB in every balance, record %d further events a string and stage.\n\n", more)
	}
	if takes {
		b.WriteString("Where one take stands on either side, the spread between takes is a default (take_spread_db, common practice, no source): two short takes tell more than one long one.\n\n")
	}
}

func changeCells(ch result.Change) []string {
	name := "all"
	if ch.String > 0 {
		name = stringName(result.String{Number: ch.String, Note: ch.Note})
	}
	d := changeDigits(ch.Unit)
	cells := []string{name, ch.Test, ch.Measure, plain(ch.Before.Median, d), plain(ch.After.Median, d), "—", "", "", changeVerdict(ch), "—"}
	if ch.Shift != nil {
		cells[5] = signed(*ch.Shift, d)
		if ch.Interval != nil {
			cells[5] += fmt.Sprintf(" (%s to %s)", signed(ch.Interval.Low, d), signed(ch.Interval.High, d))
			if cover := roundTo(100*ch.Interval.Coverage, 0); cover < 95 {
				cells[5] += fmt.Sprintf(" %g %%", cover)
			}
		}
		cells[6], cells[7] = probability(ch.P), probability(ch.AdjustedP)
	}
	if ch.Smallest != nil {
		unit := strings.Replace(ch.Unit, "dBFS", "dB", 1)
		cells[9] = fmt.Sprintf("%.*f %s", d, *ch.Smallest, unit)
	}
	return cells
}

// changeVerdict is the verdict, and why it is not the pickup's.
func changeVerdict(ch result.Change) string {
	if ch.Explained != "" && (ch.Verdict == result.Rose || ch.Verdict == result.Fell) {
		return ch.Verdict + ": " + ch.Explained
	}
	return ch.Verdict
}

func probability(p float64) string {
	if p < 0.001 {
		return "<0.001"
	}
	return strconv.FormatFloat(p, 'f', 3, 64)
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
- **Together**: a measure is one question asked of every string, and its p
  values are corrected for that (Benjamini & Hochberg 1995).
- **Rose, fell**: corrected p of 5 % or less. **No change seen**: none, and
  the smallest change that would have been seen stands beside it. **Cannot
  tell**: the data could not have shown six times the size that matters.
- **Balance** does not hang on the input gain or on how hard the hand was. It
  is told beside the mean of all strings, so one string that grows louder moves
  the balance of all others down a little; its interval counts the scatter of
  every string (Satterthwaite 1946). "Beside the others" compares a string with
  those that kept their balance.
- **By chance**: of measures that did not change, at most one in twenty says so.
`

// ComparisonSummary is what the terminal shows, in at most 80 columns.
func ComparisonSummary(c *result.Comparison, p Paint) string {
	var b strings.Builder
	b.WriteString(wrapped(c.Sentence, "", terminalColumns) + "\n")
	for _, w := range c.Warnings {
		b.WriteString("Mind     " + strings.TrimLeft(wrapped(w, strings.Repeat(" ", 9), terminalColumns-9), " "))
	}
	b.WriteString(p.faint(fmt.Sprintf("%-8s %-22s %9s %18s  %s", "string", "measure", "change", "interval", "verdict")) + "\n")
	for _, ch := range c.Changes {
		if ch.Measure == "level" || ch.Shift == nil {
			continue
		}
		cells := changeCells(ch)
		interval := ""
		if ch.Interval != nil {
			d := changeDigits(ch.Unit)
			interval = signed(ch.Interval.Low, d) + " to " + signed(ch.Interval.High, d)
		}
		verdict := ch.Verdict
		if ch.Verdict == result.Rose || ch.Verdict == result.Fell {
			verdict = p.bold(verdict)
		}
		fmt.Fprintf(&b, "%s %s %s %s  %s\n", pad(cells[0], 8), pad(clip(ch.Test+" "+ch.Measure, 22), 22),
			padLeft(signed(*ch.Shift, changeDigits(ch.Unit)), 9), padLeft(interval, 18), verdict)
	}
	return b.String()
}

// Wrap breaks a sentence into lines of at most 80 columns.
func Wrap(sentence string) string {
	return strings.TrimRight(wrapped(sentence, "", terminalColumns), "\n")
}

// writeAlone tells the strings that stand out from those that stayed.
func writeAlone(b *strings.Builder, c *result.Comparison) {
	for _, a := range c.Alone {
		words := fmt.Sprintf("String %s: its %ss moved by %s dB", escape(stringName(result.String{Number: a.String, Note: a.Note})), a.Test, signed(a.DB, 1))
		if a.Interval != nil {
			words += fmt.Sprintf(" (%s to %s)", signed(a.Interval.Low, 1), signed(a.Interval.High, 1))
		}
		fmt.Fprintf(b, "- %s beside the strings that kept their balance.\n", words)
	}
	if len(c.Alone) > 0 {
		b.WriteString("\nThe other strings' balance moves the other way with them: it is told beside the mean of all.\n\n")
	}
}

// widest is the largest reach of the changes in dB, for an axis.
func widest(changes []result.Change) float64 {
	span := 1.0
	for _, ch := range changes {
		span = math.Max(span, math.Max(math.Abs(ch.Interval.Low), math.Abs(ch.Interval.High)))
	}
	return span
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
