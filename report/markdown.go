package report

import (
	"fmt"
	"strings"

	"saddlewise/analysis/result"
)

// markdown writes the report: the answer, the strings, the findings, the
// evidence, then method, cautions and the record.
func markdown(r *result.Results, figures []figure) []byte {
	var b strings.Builder
	writeAnswer(&b, r)
	writeStrings(&b, r)
	writeFindings(&b, r)
	writeEvidence(&b, r, figures)
	writeMethod(&b, r)
	writeCautions(&b, r)
	writeRecord(&b, r)
	return []byte(b.String())
}

func writeAnswer(b *strings.Builder, r *result.Results) {
	fmt.Fprintf(b, "# %s\n\n", escape(stageTitle(r.Stage)))
	fmt.Fprintf(b, "**%s.** %s\n\n", escape(verdictWords(r.Verdict)), escape(r.Verdict.Sentence))
	for i, f := range r.Findings {
		if i == 3 {
			break
		}
		fmt.Fprintf(b, "%d. %s\n", i+1, escape(f.Title))
	}
	if len(r.Findings) > 0 {
		b.WriteString("\n")
	}
	if facts := stageFacts(r.Stage); facts != "" {
		fmt.Fprintf(b, "%s\n\n", facts)
	}
	for _, a := range r.Stage.Assumed {
		fmt.Fprintf(b, "Taken for granted: %s\n\n", escape(a))
	}
	if r.Stage.Notes != "" {
		fmt.Fprintf(b, "> Notes: %s\n\n", escape(r.Stage.Notes))
	}
	for i, p := range r.Problems {
		if i == 0 {
			b.WriteString("Not used:\n\n")
		}
		fmt.Fprintf(b, "- %s\n", escape(p.Text))
		if i == len(r.Problems)-1 {
			b.WriteString("\n")
		}
	}
}

// stageTitle is "build: stage".
func stageTitle(s result.Stage) string {
	switch {
	case s.Build != "" && s.Name != "":
		return oneLine(s.Build) + ": " + oneLine(s.Name)
	case s.Build+s.Name != "":
		return oneLine(s.Build + s.Name)
	default:
		return "Stage without a name"
	}
}

func verdictWords(v result.Verdict) string {
	word := map[result.Word]string{
		result.Ready: "Ready", result.Recheck: "Recheck first", result.Stop: "Stop",
	}[v.Word]
	switch {
	case v.NextStep == "":
		return word
	case v.Word == result.Ready:
		return word + " for " + v.NextStep
	default:
		return word + ", before " + v.NextStep
	}
}

func stageFacts(s result.Stage) string {
	var facts []string
	if s.Date != "" {
		facts = append(facts, "Recorded "+escape(s.Date))
	}
	if len(s.Tuning) > 0 {
		var notes []string
		for _, t := range s.Tuning {
			notes = append(notes, escape(t.Note))
		}
		facts = append(facts, fmt.Sprintf("strings %s (a' = %s Hz)", strings.Join(notes, " "), trim(s.A4Hz)))
	}
	if len(facts) == 0 {
		return ""
	}
	return strings.Join(facts, "; ") + "."
}

func writeStrings(b *strings.Builder, r *result.Results) {
	if len(r.Strings) == 0 {
		return
	}
	b.WriteString("## The strings\n\n")
	t := table{
		head:  []string{"string", "tap dBFS", "balance dB", "first motion", "pitch cents", "T60 s", "S/N dB"},
		right: []bool{false, true, true, false, true, true, true},
	}
	for _, s := range r.Strings {
		t.add(stringCells(s)...)
	}
	b.WriteString(t.String())
	b.WriteString("\nMedians of the events; the evidence below gives intervals and counts. " +
		"An empty cell was not recorded; a dash cannot be told.\n\n")
}

func stringCells(s result.String) []string {
	cells := []string{stringName(s), "", "", "", "", "", ""}
	if t := s.Tap; t != nil {
		cells[1], cells[2] = median(t.LevelDBFS, 1), median(t.BalanceDB, 1)
		cells[3], cells[6] = directionWords(t), bare(t.SNRDB, 0)
	}
	if p := s.Pluck; p != nil {
		cells[4], cells[5] = median(p.Cents, 1), bare(p.T60S, 1)
		if s.Tap == nil {
			cells[2], cells[6] = median(p.BalanceDB, 1), bare(p.SNRDB, 0)
		}
	}
	return cells
}

func directionWords(t *result.Tap) string {
	switch {
	case t.ThroughBody:
		return "through the body"
	case t.Polarity.Relative != "":
		return t.Polarity.Relative
	default:
		return "—"
	}
}

// median is the bare middle value for the overview table.
func median(q result.Quantity, digits int) string {
	if q.Estimate == nil {
		return "—"
	}
	return signed(q.Estimate.Median, digits)
}

// bare is the same for numbers that cannot be negative in a good pickup.
func bare(q result.Quantity, digits int) string {
	if q.Estimate == nil {
		return "—"
	}
	return plain(q.Estimate.Median, digits)
}

func writeFindings(b *strings.Builder, r *result.Results) {
	if len(r.Findings) == 0 {
		return
	}
	b.WriteString("## What the evidence says\n\n")
	for _, f := range r.Findings {
		fmt.Fprintf(b, "### %s: %s\n\n", severityWord(f.Severity), escape(f.Title))
		for _, e := range f.Evidence {
			fmt.Fprintf(b, "- %s\n", escape(e.Text))
		}
		writeList(b, "\nLikely causes, most likely first:\n\n", f.Causes, true)
		writeList(b, "\nTry next, cheapest first:\n\n", f.Next, true)
		if f.HoldsUp != "" {
			fmt.Fprintf(b, "\nHolds up: %s.\n", escape(f.HoldsUp))
		}
		b.WriteString("\n")
	}
}

func severityWord(s result.Severity) string {
	return map[result.Severity]string{
		result.SeverityStop: "Stop", result.SeverityRecheck: "Recheck", result.SeverityNote: "Note",
	}[s]
}

func writeList(b *strings.Builder, head string, items []string, numbered bool) {
	if len(items) == 0 {
		return
	}
	b.WriteString(head)
	for i, item := range items {
		if numbered {
			fmt.Fprintf(b, "%d. %s\n", i+1, escape(item))
		} else {
			fmt.Fprintf(b, "- %s\n", escape(item))
		}
	}
}
