package stage

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"saddlewise/analysis/signal"
)

// named is the grammar of file names: test, then string and free text.
var named = regexp.MustCompile(`^(?i)(tap|pluck|tone|sweep|quiet)(?:[-_. ]+(.*)|(\d.*)|)$`)

// stringPart is a string's number or note at the start of the rest.
var stringPart = regexp.MustCompile(`^(?i)(\d{1,2}|[a-g](?:#|b|♯|♭)?\d)(?:$|[-_ .(,+].*$)`)

// candidate is a take whose string may still be known by its note only.
type candidate struct {
	Take
	note *signal.Note
}

// isRecording tells a recording by its ending. Other kinds of audio with a
// take's name count, too, so that they are refused for what they are.
func isRecording(file string) bool {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".wav", ".wave", ".bwf", ".rf64":
		return true
	case ".aif", ".aiff", ".flac", ".ogg", ".mp3", ".m4a", ".caf", ".w64":
		return named.MatchString(stemOf(file))
	}
	return false
}

// Recordings names the files in the folder dir that are recordings by their
// names, whatever they hold, in order of name. Hidden files are none.
func Recordings(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be listed; is it a folder that may be read? %w", filepath.Base(dir), err)
	}
	var names []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && isRecording(e.Name()) {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

func stemOf(file string) string {
	return strings.TrimSpace(strings.TrimSuffix(file, filepath.Ext(file)))
}

// parseName reads test and string off a file name.
func (st *Stage) parseName(file string) (candidate, error) {
	m := named.FindStringSubmatch(stemOf(file))
	if m == nil {
		return candidate{}, fmt.Errorf("%s: its name does not say what it is; name it like tap-1.wav, or list it under [[take]] in stage.toml", file)
	}
	c := candidate{Take: Take{File: file, Test: testOf(m[1]), Suffix: m[2] + m[3]}}
	switch {
	case c.Test == Quiet:
		c.Hand = saysHand(c.Suffix)
		return c, nil
	case c.Test == Sweep && strings.HasPrefix(strings.ToLower(c.Suffix), "reference"):
		c.Test = SweepReference
		return c, nil
	}
	part := stringPart.FindStringSubmatch(c.Suffix)
	switch {
	case part != nil:
		c.Suffix = strings.TrimLeft(c.Suffix[len(part[1]):], "-_ .,+")
		if err := st.setString(&c, part[1]); err != nil {
			return candidate{}, fmt.Errorf("%s: %w", file, err)
		}
	case c.Test == Sweep:
	case len(st.Strings) == 1:
		c.String = 1
	default:
		return candidate{}, fmt.Errorf("%s: its name does not say which string; name it like %s-1.wav or %s-A3.wav", file, c.Test, c.Test)
	}
	return c, nil
}

// testOf folds case as the grammar does: the long s of old print is an s.
func testOf(word string) Test {
	tests := []Test{Tap, Pluck, Tone, Sweep, Quiet}
	return tests[slices.IndexFunc(tests, func(t Test) bool { return strings.EqualFold(string(t), word) })]
}

// saysHand tells whether a quiet take was made with a hand on the ground or
// the strings: it says hand, and does not say that there is none.
func saysHand(suffix string) bool {
	words := strings.FieldsFunc(strings.ToLower(suffix), func(r rune) bool { return r < 'a' || r > 'z' })
	hand := slices.ContainsFunc(words, func(w string) bool { return w == "hand" || w == "hands" })
	return hand && !slices.ContainsFunc(words, func(w string) bool {
		return w == "no" || w == "not" || w == "without" || w == "off" || w == "free"
	})
}

// setString reads a string's number or note name into c.
func (st *Stage) setString(c *candidate, said string) error {
	if n, err := strconv.Atoi(said); err == nil {
		c.String = n
		return st.checkNumber(n)
	}
	note, err := signal.ParseNote(said)
	if err != nil {
		return fmt.Errorf("no string is named %w", err)
	}
	if len(st.Strings) == 0 {
		c.note = &note
		return nil
	}
	c.String, err = st.numberOf(note)
	return err
}

func (st *Stage) checkNumber(n int) error {
	limit, where := maxStrings, ""
	if len(st.Strings) > 0 {
		limit, where = len(st.Strings), " or correct strings in build.toml"
	}
	if n < 1 || n > limit {
		return fmt.Errorf("there is no string %d on this instrument (1 to %d); rename it%s", n, limit, where)
	}
	return nil
}

// numberOf is the one string tuned to note.
func (st *Stage) numberOf(note signal.Note) (int, error) {
	var hits []int
	for _, s := range st.Strings {
		if n, err := signal.ParseNote(s.Note); err == nil && n.MIDI == note.MIDI {
			hits = append(hits, s.Number)
		}
	}
	switch len(hits) {
	case 0:
		return 0, fmt.Errorf("no string is tuned to %s on this instrument (%s); rename it or correct strings in build.toml", note.Name, st.tuning())
	case 1:
		return hits[0], nil
	}
	return 0, fmt.Errorf("strings %d and %d are both tuned to %s; name the take by its string number", hits[0], hits[1], note.Name)
}

// tuning lists the strings: 1 A3, 2 D3.
func (st *Stage) tuning() string {
	var all []string
	for _, s := range st.Strings {
		all = append(all, fmt.Sprintf("%d %s", s.Number, s.Note))
	}
	return strings.Join(all, ", ")
}
