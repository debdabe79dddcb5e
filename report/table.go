package report

import (
	"strings"
	"unicode/utf8"
)

// table writes a Markdown table whose columns also line up as plain text.
// Columns after the first are right-aligned when numeric is set for them.
type table struct {
	head  []string
	right []bool
	rows  [][]string
}

func (t *table) add(cells ...string) {
	row := make([]string, len(t.head))
	for i := range row {
		if i < len(cells) {
			row[i] = escape(cells[i])
		}
	}
	t.rows = append(t.rows, row)
}

func (t *table) String() string {
	widths := make([]int, len(t.head))
	for _, row := range append([][]string{t.head}, t.rows...) {
		for i, cell := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(cell), 3)
		}
	}
	var b strings.Builder
	t.line(&b, t.head, widths)
	for i, w := range widths {
		b.WriteString("| ")
		b.WriteString(strings.Repeat("-", w-1))
		if t.isRight(i) {
			b.WriteString(": ")
		} else {
			b.WriteString("- ")
		}
	}
	b.WriteString("|\n")
	for _, row := range t.rows {
		t.line(&b, row, widths)
	}
	return b.String()
}

func (t *table) isRight(i int) bool { return i < len(t.right) && t.right[i] }

func (t *table) line(b *strings.Builder, cells []string, widths []int) {
	for i, cell := range cells {
		pad := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell))
		b.WriteString("| ")
		if t.isRight(i) {
			b.WriteString(pad + cell)
		} else {
			b.WriteString(cell + pad)
		}
		b.WriteString(" ")
	}
	b.WriteString("|\n")
}

var escaper = strings.NewReplacer(
	"\\", "\\\\", "|", "\\|", "<", "&lt;", ">", "&gt;", "&", "&amp;",
	"`", "\\`", "*", "\\*", "_", "\\_", "[", "\\[", "]", "\\]",
	"\n", " ", "\r", " ",
)

// escape makes text from files and TOML harmless in Markdown and HTML.
func escape(s string) string { return escaper.Replace(s) }
