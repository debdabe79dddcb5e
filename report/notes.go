package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"saddlewise/analysis/result"
)

// Note says where an entry in the maker's notes belongs.
type Note struct {
	File   string // the Markdown file that the maker keeps
	Stage  string // folder of the stage: an entry is its own for each
	Report string // path of report.md
	Today  string // ISO 8601 date, for a stage that has none
}

// WriteNote puts a short dated summary with a link to the full report at the
// end of the notes, or in place of the entry an earlier analysis of the same
// stage left there. All other bytes stay as they are; the file is replaced in
// one step, or not at all. It refuses a file that is not text, and one where
// an entry's end is missing.
func WriteNote(r *result.Results, n Note) error {
	path := n.File
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // a link stays a link
	}
	old, mode, err := readNotes(path)
	if err != nil {
		return fmt.Errorf("notes %s: %w", n.File, err)
	}
	id, err := noteID(path, n.Stage)
	if err != nil {
		return fmt.Errorf("notes %s: %w", n.File, err)
	}
	text, err := withEntry(old, id, noteBody(r, n, path))
	if err != nil {
		return fmt.Errorf("notes %s: %w", n.File, err)
	}
	if bytes.Equal(text, old) {
		return nil
	}
	if err := replaceFile(path, text, mode); err != nil {
		return fmt.Errorf("notes %s: %w", n.File, err)
	}
	return nil
}

func readNotes(path string) ([]byte, fs.FileMode, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(filepath.Dir(path)); err != nil {
			return nil, 0, fmt.Errorf("its folder cannot be used: %w", err)
		}
		return nil, 0o644, nil
	}
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, errors.New("not a file; name the Markdown file to write into")
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, 0, err
	}
	if !utf8.Valid(text) || bytes.IndexByte(text, 0) >= 0 {
		return nil, 0, errors.New("not UTF-8 text; it was left as it is")
	}
	return text, info.Mode().Perm(), nil
}

// noteID names a stage within the notes, by where its folder lies from them:
// two builds may both have a stage of one name.
func noteID(notes, stage string) (string, error) {
	rel, err := relative(notes, stage)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256([]byte(rel))
	return hex.EncodeToString(sum[:6]), nil
}

// relative is the slash-separated path from the notes' folder to target.
func relative(notes, target string) (string, error) {
	from, err := filepath.Abs(filepath.Dir(notes))
	if err != nil {
		return "", err
	}
	to, err := filepath.Abs(target)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(to); err == nil {
		to = real
	}
	if real, err := filepath.EvalSymlinks(from); err == nil {
		from = real
	}
	rel, err := filepath.Rel(from, to)
	if err != nil {
		rel = to // on another drive
	}
	return filepath.ToSlash(rel), nil
}

func beginMark(id string) string {
	return "<!-- saddlewise entry " + id + ": each analysis of this stage writes it anew -->"
}

func endMark(id string) string { return "<!-- saddlewise entry " + id + " ends -->" }

// withEntry is text with the entry id holding body, in the line ends that
// text has.
func withEntry(text []byte, id, body string) ([]byte, error) {
	eol := "\n"
	if bytes.Contains(text, []byte("\r\n")) {
		eol = "\r\n"
	}
	entry := strings.ReplaceAll(beginMark(id)+"\n"+body+endMark(id)+"\n", "\n", eol)
	from, to, err := findEntry(text, id)
	if err != nil {
		return nil, err
	}
	if from < 0 {
		return append(bytes.Clone(text), gapAfter(text, eol)+entry...), nil
	}
	tail := text[to:]
	if len(tail) == 0 || tail[0] == '\n' || tail[0] == '\r' {
		entry = strings.TrimSuffix(entry, eol) // the line end is the maker's
	}
	return append(append(bytes.Clone(text[:from]), entry...), tail...), nil
}

// gapAfter is what makes an empty line between text and what follows.
func gapAfter(text []byte, eol string) string {
	switch {
	case len(text) == 0, bytes.HasSuffix(text, []byte(eol+eol)):
		return ""
	case bytes.HasSuffix(text, []byte("\n")):
		return eol
	default:
		return eol + eol
	}
}

// findEntry gives the bytes from the mark that begins entry id to the one that
// ends it, or -1 where there is none.
func findEntry(text []byte, id string) (from, to int, err error) {
	begin, end := []byte("<!-- saddlewise entry "+id+":"), []byte(endMark(id))
	from, to = bytes.Index(text, begin), bytes.Index(text, end)
	switch {
	case bytes.Count(text, begin) > 1 || bytes.Count(text, end) > 1:
		return 0, 0, fmt.Errorf("entry %s stands there twice; take one out", id)
	case from < 0 && to < 0:
		return -1, -1, nil
	case to < 0:
		return 0, 0, fmt.Errorf("entry %s has no end; take the comment that begins it out", id)
	case from < 0 || to < from:
		return 0, 0, fmt.Errorf("entry %s ends without a beginning; take the comment that ends it out", id)
	}
	inside := text[from+len(begin) : to]
	if bytes.Contains(inside, []byte("<!-- saddlewise entry ")) {
		return 0, 0, fmt.Errorf("entry %s holds another; take their comments out", id)
	}
	return from, to + len(end), nil
}

// noteBody is the entry's text: verdict, what matters most, link.
func noteBody(r *result.Results, n Note, path string) string {
	date := oneLine(r.Stage.Date)
	if date == "" {
		date = n.Today
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\n## %s\n\n", escape(strings.TrimSpace(date+" "+stageTitle(r.Stage))))
	fmt.Fprintf(&b, "**%s.** %s\n\n", escape(verdictWords(r.Verdict)), escape(r.Verdict.Sentence))
	for i, f := range r.Findings {
		if i == 3 {
			fmt.Fprintf(&b, "- and %d more\n", len(r.Findings)-i)
			break
		}
		fmt.Fprintf(&b, "- %s: %s\n", severityWord(f.Severity), escape(f.Title))
	}
	if len(r.Findings) > 0 {
		b.WriteString("\n")
	}
	if words := balanceWords(r); words != "" {
		fmt.Fprintf(&b, "%s\n\n", words)
	}
	fmt.Fprintf(&b, "[Full report](%s)\n\n", linkTo(path, n.Report))
	return b.String()
}

// balanceWords is one line of numbers to look back at.
func balanceWords(r *result.Results) string {
	var items []string
	for _, s := range r.Strings {
		if s.Tap != nil && s.Tap.BalanceDB.Known() {
			items = append(items, escape(stringName(s))+" "+signed(s.Tap.BalanceDB.Estimate.Median, 1))
		}
	}
	if len(items) == 0 {
		return ""
	}
	return "Tap balance in dB, by string: " + strings.Join(items, ", ") + "."
}

// linkTo is target as a link from the notes.
func linkTo(notes, target string) string {
	rel, err := relative(notes, target)
	if err != nil {
		rel = filepath.ToSlash(target)
	}
	return (&url.URL{Path: rel}).EscapedPath()
}

// replaceFile puts text in place of the file in one step.
func replaceFile(path string, text []byte, mode fs.FileMode) error {
	name, err := stageFile(filepath.Dir(path), file{filepath.Base(path), text})
	if err != nil {
		return err
	}
	if err := errors.Join(os.Chmod(name, mode), os.Rename(name, path)); err != nil {
		return errors.Join(err, removeIfThere(name))
	}
	return nil
}
