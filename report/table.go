package report

import (
	"strings"
	"unicode"

	"github.com/rivo/uniseg"
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
			widths[i] = max(widths[i], uniseg.StringWidth(cell), 3)
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
		pad := strings.Repeat(" ", widths[i]-uniseg.StringWidth(cell))
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

// escape makes text from files and TOML harmless in Markdown and HTML: every
// character that could begin markup gets a backslash. An underscore inside a
// word begins none and stays readable.
func escape(s string) string {
	runes := []rune(oneLine(s))
	var b strings.Builder
	for i, r := range runes {
		switch {
		case r == '_' && i > 0 && i+1 < len(runes) && isWord(runes[i-1]) && isWord(runes[i+1]):
		case r == '&' && (i+1 == len(runes) || runes[i+1] == ' '):
		case strings.ContainsRune("\\|<>&`*_[]~$", r):
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}

func isWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
