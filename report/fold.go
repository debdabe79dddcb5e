package report

import (
	"regexp"
	"strings"

	"github.com/rivo/uniseg"
)

// textColumns is how wide a report's lines may be, tables and what cannot be
// broken apart.
const textColumns = 96

var (
	// leading is what a paragraph, list item or quotation begins with.
	leading = regexp.MustCompile(`^ {0,3}(?:> |- |[0-9]+\. )?`)
	// blockMark would begin a block of its own at the start of a line.
	blockMark = regexp.MustCompile(`^(?:[-+*]|[0-9]+[.)]|#+|[-=]+|>.*)$`)
)

// folded breaks the long lines of Markdown between words, without changing
// what it means.
func folded(markdown []byte) []byte {
	var b strings.Builder
	fenced := false
	for line := range strings.Lines(string(markdown)) {
		fence := strings.HasPrefix(line, "```")
		if fence || fenced || !breakable(line) {
			b.WriteString(line)
			fenced = fenced != fence
			continue
		}
		foldLine(&b, strings.TrimRight(line, "\n"))
	}
	return []byte(b.String())
}

func breakable(line string) bool {
	for _, prefix := range []string{"|", "#", "    ", "<"} {
		if strings.HasPrefix(line, prefix) {
			return false
		}
	}
	return uniseg.StringWidth(line) > textColumns
}

func foldLine(b *strings.Builder, line string) {
	head := leading.FindString(line)
	hang := strings.Repeat(" ", len(head))
	if strings.HasSuffix(head, "> ") {
		hang = head
	}
	used := len(head)
	b.WriteString(head)
	for i, w := range strings.Fields(line[len(head):]) {
		n := uniseg.StringWidth(w)
		switch {
		case i == 0:
		case used+1+n > textColumns && !blockMark.MatchString(w):
			b.WriteString("\n" + hang)
			used = len(hang)
		default:
			b.WriteString(" ")
			used++
		}
		b.WriteString(w)
		used += n
	}
	b.WriteString("\n")
}
