package report

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/yuin/goldmark/ast"

	"saddlewise/analysis/result"
)

func noteIn(dir, stage string) Note {
	return Note{File: filepath.Join(dir, "notes.md"), Stage: filepath.Join(dir, stage),
		Report: filepath.Join(dir, stage, "report", "report.md"), Today: "2026-01-02"}
}

func write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func mustNote(t *testing.T, r *result.Results, n Note) string {
	t.Helper()
	if err := WriteNote(r, n); err != nil {
		t.Fatal(err)
	}
	return read(t, n.File)
}

// TestNoteLeavesTheRestAlone: whatever stands in the file stands there after
// the first entry, and around the entry after the second.
func TestNoteLeavesTheRestAlone(t *testing.T) {
	for name, before := range map[string]string{
		"new file":         "",
		"plain":            "# My build\n\nSoundpost fitted.\n",
		"no final newline": "# My build",
		"CRLF":             "# My build\r\n\r\nSoundpost fitted.\r\n",
		"CRLF, none last":  "a\r\nb",
		"blank lines":      "a\n\n\n\n",
		"byte order mark":  "\ufeff# Mine\n",
		"odd bytes":        "tabs\t, spaces  \nå 鳥\n<!-- mine -->\n",
		"only newline":     "\n",
	} {
		n := noteIn(t.TempDir(), "wired")
		if before != "" {
			write(t, n.File, before)
		}
		first := mustNote(t, sample(2), n)
		if !strings.HasPrefix(first, before) {
			t.Errorf("%s: what stood there changed to %q", name, first)
		}
		if crlf := strings.Contains(before, "\r\n"); crlf != strings.Contains(first, "\r\n") ||
			crlf && strings.Count(first, "\n") != strings.Count(first, "\r\n") {
			t.Errorf("%s: line ends mixed in %q", name, first)
		}
		if again := mustNote(t, sample(2), n); again != first {
			t.Errorf("%s: the same results changed it to %q", name, again)
		}
		after := "\nWritten later"
		write(t, n.File, first+after)
		changed := sample(2)
		changed.Verdict = result.Verdict{Word: result.Ready, Sentence: "All is well."}
		second := mustNote(t, changed, n)
		if !strings.HasPrefix(second, before) || !strings.HasSuffix(second, after) {
			t.Errorf("%s: text around the entry changed: %q", name, second)
		}
		if strings.Count(second, "All is well.") != 1 || strings.Contains(second, "the wrong way round") {
			t.Errorf("%s: entry was not replaced: %q", name, second)
		}
	}
}

func TestNoteEditedRightAgainstTheMarks(t *testing.T) {
	n := noteIn(t.TempDir(), "wired")
	first := mustNote(t, sample(1), n)
	for _, around := range [][2]string{{"before", ""}, {"", "after"}, {"a\n", "\n\n\nb\n"}, {"", ""}} {
		write(t, n.File, around[0]+strings.TrimSuffix(first, "\n")+around[1])
		got := mustNote(t, sample(2), n)
		if !strings.HasPrefix(got, around[0]) || !strings.HasSuffix(got, around[1]) {
			t.Errorf("edits %q are lost in %q", around, got)
		}
		if again := mustNote(t, sample(2), n); again != got {
			t.Errorf("edits %q: a second run changes %q to %q", around, got, again)
		}
	}
}

// TestNotesOfSeveralStages: two builds may each have a stage "wired".
func TestNotesOfSeveralStages(t *testing.T) {
	dir := t.TempDir()
	for _, stage := range []string{"one/wired", "two/wired", "one/glued", "one/wired"} {
		mustNote(t, sample(1), noteIn(dir, stage))
	}
	got := read(t, filepath.Join(dir, "notes.md"))
	for _, stage := range []string{"one/wired", "two/wired", "one/glued"} {
		if n := strings.Count(got, "("+stage+"/report/report.md)"); n != 1 {
			t.Errorf("%d entries of %s, want 1:\n%s", n, stage, got)
		}
	}
}

func TestNoteRefuses(t *testing.T) {
	n := noteIn(t.TempDir(), "wired")
	good := mustNote(t, sample(1), n)
	lines := strings.SplitAfter(good, "\n")
	for name, text := range map[string]string{
		"no end":       strings.Join(lines[:len(lines)-2], ""),
		"no beginning": strings.Join(lines[1:], ""),
		"twice":        good + good,
		"nested":       strings.Replace(good, "\n\n", "\n<!-- saddlewise entry ffff: x -->\n", 1),
		"recording":    "RIFF\x00\x00WAVE",
		"Latin-1":      "caf\xe9\n",
	} {
		write(t, n.File, text)
		if err := WriteNote(sample(2), n); err == nil || !strings.Contains(err.Error(), "notes.md") {
			t.Errorf("%s: got %v", name, err)
		}
		if got := read(t, n.File); got != text {
			t.Errorf("%s: the file changed to %q", name, got)
		}
	}
	n.File = filepath.Dir(n.File)
	if err := WriteNote(sample(1), n); err == nil {
		t.Error("wrote notes into a folder")
	}
	n.File = filepath.Join(n.File, "gone", "notes.md")
	if err := WriteNote(sample(1), n); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no such folder: got %v", err)
	}
}

func TestNoteKeepsLinkAndMode(t *testing.T) {
	dir := t.TempDir()
	target, link := filepath.Join(dir, "real.md"), filepath.Join(dir, "notes.md")
	write(t, target, "mine\n")
	if err := os.Symlink(target, link); err != nil {
		t.Fatal(err)
	}
	mustNote(t, sample(1), noteIn(dir, "wired"))
	info, err := os.Lstat(link)
	if err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link became a file (%v)", err)
	}
	if info, err = os.Stat(target); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode is %v (%v), was 0600", info.Mode(), err)
	}
	if got := names(t, dir); got != "notes.md real.md" {
		t.Errorf("left behind: %s", got)
	}
}

func TestNoteIsSoundMarkdown(t *testing.T) {
	dir := t.TempDir()
	n := noteIn(dir, "wired (two) #1")
	src := []byte(mustNote(t, hostileResults(), n))
	var link string
	walk(t, parse(src), func(node ast.Node) {
		switch node := node.(type) {
		case *ast.RawHTML:
			t.Error("raw HTML")
		case *ast.Link:
			link = string(node.Destination)
		}
	})
	if want := "wired%20%28two%29%20%231/report/report.md"; link != want {
		t.Errorf("link %q, want %q", link, want)
	}
	if got := mustNote(t, hostileResults(), n); got != string(src) {
		t.Error("hostile text moves the marks")
	}
}

func TestNoteHasADate(t *testing.T) {
	dir := t.TempDir()
	r := sample(1)
	if got := mustNote(t, r, noteIn(dir, "a")); !strings.Contains(got, "## 2026-01-02 Sample build: wired") {
		t.Errorf("no date of today in %s", got)
	}
	r.Stage.Date = "2025-12-24"
	if got := mustNote(t, r, noteIn(dir, "a")); !strings.Contains(got, "## 2025-12-24 Sample build") {
		t.Errorf("no date of the stage in %s", got)
	}
}
