package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"saddlewise/analysis/result"
)

// changeFamily is one measure of all strings, or all measures of one way of
// recording silence: rows that stand in one table.
type changeFamily struct {
	test, title string
	unit        string // empty where the rows differ
	changes     []result.Change
}

// changeFamilies are the changes in the order of their first.
func changeFamilies(c *result.Comparison) []changeFamily {
	at := map[[2]string]int{}
	var out []changeFamily
	for _, ch := range c.Changes {
		key, title := [2]string{ch.Test, ch.Measure}, ch.Test+" "+ch.Measure
		if ch.String == 0 {
			key[1], title = "", ch.Test
		}
		if _, ok := at[key]; !ok {
			at[key] = len(out)
			out = append(out, changeFamily{test: ch.Test, title: title, unit: ch.Unit})
		}
		f := &out[at[key]]
		f.changes = append(f.changes, ch)
	}
	return out
}

func writeChanges(b *strings.Builder, c *result.Comparison) {
	if len(c.Changes) == 0 {
		return
	}
	b.WriteString("## Every change that was asked about\n\n")
	fmt.Fprintf(b, "p is asked of one row alone; \"of all\" among all %d questions of this comparison. "+
		"**Rose** and **fell** stand among all of them; in brackets is what would stand within its own table only.\n\n", c.Questions)
	for _, f := range changeFamilies(c) {
		f.write(b)
	}
	writeMore(b, c)
}

func (f changeFamily) write(b *strings.Builder) {
	fmt.Fprintf(b, "### %s, %s\n\n", escape(capital(f.title)), f.unit)
	t := table{
		head:  []string{"string", "before", "after", "change (interval)", "p", "of all", "verdict"},
		right: []bool{false, true, true, true, true, true, false},
	}
	if f.changes[0].String == 0 {
		t.head[0] = "measure"
	}
	var notes footnotes
	for _, ch := range f.changes {
		t.add(f.cells(ch, &notes)...)
	}
	b.WriteString(t.String() + "\n")
	if words := smallestWords(f.changes); words != "" {
		notes.plain = append(notes.plain, words)
	}
	if words := coverNote(f.changes); words != "" {
		notes.plain = append(notes.plain, words)
	}
	notes.write(b)
}

func (f changeFamily) cells(ch result.Change, notes *footnotes) []string {
	d := changeDigits(ch.Unit)
	cells := []string{changeName(ch), plain(ch.Before.Median, d), plain(ch.After.Median, d), "—", "", "", changeVerdict(ch)}
	if ch.Shift != nil {
		cells[3] = signed(*ch.Shift, d)
		if ch.Interval != nil {
			cells[3] += fmt.Sprintf(" (%s to %s)", signed(ch.Interval.Low, d), signed(ch.Interval.High, d))
		}
		if ch.Assumed {
			cells[3] += " †"
		}
		cells[4], cells[5] = probability(ch.P), probability(ch.WholeP)
	}
	switch changed := ch.Verdict == result.Rose || ch.Verdict == result.Fell; {
	case ch.Explained != "" && changed:
		cells[6] += " " + notes.mark(ch.Explained)
	case ch.Reason != "" && !changed:
		cells[6] += " " + notes.mark(ch.Reason)
	}
	return cells
}

// footnotes are the lines under a table, each reason once.
type footnotes struct{ marked, plain []string }

// mark is the letter of a reason.
func (n *footnotes) mark(reason string) string {
	for i, r := range n.marked {
		if r == reason {
			return letter(i)
		}
	}
	n.marked = append(n.marked, reason)
	return letter(len(n.marked) - 1)
}

func letter(i int) string { return string("ᵃᵇᶜᵈᵉ"[3*min(i, 4) : 3*min(i, 4)+3]) }

func (n *footnotes) write(b *strings.Builder) {
	var words []string
	for i, r := range n.marked {
		words = append(words, letter(i)+" "+escape(r)+".")
	}
	if words = append(words, n.plain...); len(words) > 0 {
		b.WriteString(strings.Join(words, " ") + "\n\n")
	}
}

// changeName is the row's name: the string, or the measure of the whole.
func changeName(ch result.Change) string {
	if ch.String == 0 {
		return ch.Measure
	}
	return stringName(result.String{Number: ch.String, Note: ch.Note})
}

// changeVerdict is the verdict, in brackets where it does not survive.
func changeVerdict(ch result.Change) string {
	if (ch.Verdict == result.Rose || ch.Verdict == result.Fell) && !ch.Survives {
		return "(" + ch.Verdict + ")"
	}
	return ch.Verdict
}

func probability(p float64) string {
	if p < 0.001 {
		return "<0.001"
	}
	return strconv.FormatFloat(p, 'f', 3, 64)
}

// smallestWords say how much this data would have shown.
func smallestWords(changes []result.Change) string {
	low, high, digits := math.Inf(1), 0.0, changeDigits(changes[0].Unit)
	for _, ch := range changes {
		if ch.Smallest != nil {
			low, high = math.Min(low, *ch.Smallest), math.Max(high, *ch.Smallest)
		}
	}
	if !finite(low) {
		return ""
	}
	size := fmt.Sprintf("%.*f", digits, low)
	if most := fmt.Sprintf("%.*f", digits, high); most != size {
		size += " to " + most
	}
	return fmt.Sprintf("A change of %s %s would have been seen four times in five, asked alone.", size, strings.Replace(changes[0].Unit, "dBFS", "dB", 1))
}

// coverNote name the intervals that cover less than the usual 95 %.
func coverNote(changes []result.Change) string {
	least := 95.0
	for _, ch := range changes {
		if ch.Interval != nil {
			least = math.Min(least, roundTo(100*ch.Interval.Coverage, 0))
		}
	}
	if least >= 95 {
		return ""
	}
	return fmt.Sprintf("With so few events some intervals cover %g %% instead of 95 %%.", least)
}

// writeMore says what the numbers rest on, and what would tell more.
func writeMore(b *strings.Builder, c *result.Comparison) {
	more, assumed := 0, false
	for _, ch := range c.Changes {
		if ch.More != nil && ch.Measure == "balance" {
			more = max(more, *ch.More)
		}
		assumed = assumed || ch.Assumed
	}
	if assumed {
		source := "a default (common practice, no source; set take_spread_db under [limits])"
		if c.TakeSpread.Given {
			source = "set as take_spread_db under [limits]"
		}
		fmt.Fprintf(b, "† One take stands on either side, so the spread between takes of one string is not measured: %s dB, %s. Two short takes tell more than one long one.\n\n",
			trim(c.TakeSpread.DB), escape(source))
	}
	if more > 0 {
		fmt.Fprintf(b, "To see a change of 1 dB in every balance, asked alone, record %d further events a string and stage.\n\n", more)
	}
}
