package report

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/rivo/uniseg"

	"saddlewise/analysis/result"
)

// terminalColumns is the width that the summary keeps to.
const terminalColumns = 80

// Paint colours the summary for a terminal; the zero value leaves it plain.
type Paint struct{ Colour bool }

func (p Paint) bold(s string) string  { return p.wrap("1", s) }
func (p Paint) faint(s string) string { return p.wrap("2", s) }

// severity marks a word by its gravity: bold for stop, underlined for
// recheck, so that it does not hang on hue.
func (p Paint) severity(s result.Severity, words string) string {
	switch s {
	case result.SeverityStop:
		return p.wrap("1;31", words)
	case result.SeverityRecheck:
		return p.wrap("1;33", words)
	default:
		return words
	}
}

func (p Paint) wrap(code, s string) string {
	if !p.Colour || s == "" {
		return s
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}

// Summary is what the terminal shows after an analysis: verdict, strings,
// findings, in at most 80 columns.
func Summary(r *result.Results, p Paint) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", p.bold(clip(stageTitle(r.Stage), terminalColumns)))
	verdict := severityOf(r.Verdict.Word)
	fmt.Fprintf(&b, "%s\n", p.severity(verdict, clip(oneLine(verdictWords(r.Verdict)), terminalColumns)))
	b.WriteString(wrapped(r.Verdict.Sentence, "", terminalColumns) + "\n")
	if len(r.Strings) > 0 {
		b.WriteString(stringLines(r, p) + "\n")
	}
	for _, f := range r.Findings {
		label := fmt.Sprintf("%-9s", severityWord(f.Severity))
		text := wrapped(f.Title, strings.Repeat(" ", 9), terminalColumns-9)
		b.WriteString(p.severity(f.Severity, label) + strings.TrimLeft(text, " "))
	}
	for _, problem := range r.Problems {
		b.WriteString("Not used " + strings.TrimLeft(wrapped(problem.Text, strings.Repeat(" ", 9), terminalColumns-9), " "))
	}
	return b.String()
}

func severityOf(w result.Word) result.Severity {
	return map[result.Word]result.Severity{
		result.Stop: result.SeverityStop, result.Recheck: result.SeverityRecheck,
	}[w]
}

// stringLines is the table of strings: tap level beside the others as a small
// bar about the middle, first motion, pitch, sustain.
func stringLines(r *result.Results, p Paint) string {
	var b strings.Builder
	b.WriteString(p.faint(fmt.Sprintf("%-8s %-9s %-23s %-13s %10s %8s", "string", "tap dBFS", "  quieter | louder", "first motion", "cents", "T60 s")) + "\n")
	for _, s := range r.Strings {
		cells := stringCells(s)
		bar := strings.Repeat(" ", 15)
		if s.Tap != nil && s.Tap.BalanceDB.Known() {
			bar = balanceBar(s.Tap.BalanceDB.Estimate.Median)
		}
		fmt.Fprintf(&b, "%s %s %s %s  %s %s %s\n", pad(clip(cells[0], 8), 8), padLeft(cells[1], 8), bar, padLeft(cells[2], 6),
			pad(cells[3], 14), padLeft(cells[4], 10), padLeft(cells[5], 8))
	}
	return b.String()
}

// balanceBar is seven cells either side of the middle, one a dB.
func balanceBar(db float64) string {
	cells := []rune("       |       ")
	n := int(math.Round(math.Min(math.Abs(db), 7)))
	for i := 1; i <= n; i++ {
		if db < 0 {
			cells[7-i] = '='
		} else {
			cells[7+i] = '='
		}
	}
	return string(cells)
}

func pad(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-uniseg.StringWidth(s)))
}

func padLeft(s string, width int) string {
	return strings.Repeat(" ", max(0, width-uniseg.StringWidth(s))) + s
}

// clip shortens s to width columns.
func clip(s string, width int) string {
	if uniseg.StringWidth(s) <= width {
		return s
	}
	head, _ := splitAt(s, width-1)
	return head + "…"
}

// splitAt cuts s between characters so that head fills at most width columns,
// and holds at least one character.
func splitAt(s string, width int) (head, rest string) {
	rest = s
	for used := 0; rest != ""; {
		cluster, after, w, _ := uniseg.FirstGraphemeClusterInString(rest, -1)
		if used += w; used > width && head != "" {
			break
		}
		head, rest = head+cluster, after
	}
	return head, rest
}

// oneLine drops line breaks, control characters and marks that turn the
// direction of writing, which a TOML file may hold and a terminal would obey.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r) || r == '\u2028' || r == '\u2029':
			return ' '
		case unicode.Is(unicode.Bidi_Control, r) || r == utf8.RuneError:
			return -1
		}
		return r
	}, s)
}

// wrapped breaks words into lines of at most width columns, each after
// indent, with a line break at the end. A word longer than a line is cut.
func wrapped(words, indent string, width int) string {
	var b strings.Builder
	line := 0
	for _, w := range fields(words, width) {
		n := uniseg.StringWidth(w)
		switch {
		case line == 0:
			b.WriteString(indent)
		case line+1+n > width:
			b.WriteString("\n" + indent)
			line = 0
		default:
			b.WriteString(" ")
			line++
		}
		b.WriteString(w)
		line += n
	}
	b.WriteString("\n")
	return b.String()
}

// fields splits at spaces, and cuts what is wider than width.
func fields(words string, width int) []string {
	var out []string
	for _, w := range strings.Fields(oneLine(words)) {
		for uniseg.StringWidth(w) > width {
			var head string
			head, w = splitAt(w, width)
			out = append(out, head)
		}
		if w != "" {
			out = append(out, w)
		}
	}
	return out
}
