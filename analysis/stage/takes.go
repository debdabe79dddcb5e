package stage

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"saddlewise/analysis/signal"
)

// named is the grammar of file names: test, string, free text.
var named = regexp.MustCompile(`^(?i)(tap|pluck|tone|sweep|quiet)(?:[-_ ]+(.*))?$`)

// stringPart is a string's number or note at the start of the rest.
var stringPart = regexp.MustCompile(`^(?i)(\d{1,2}|[a-g](?:#|b|♯|♭)?\d)(?:$|[-_ .(].*$)`)

// findTakes lists the folder and places every WAV file in it.
func (st *Stage) findTakes(f *facts) error {
	entries, err := os.ReadDir(st.Dir)
	if err != nil {
		return fmt.Errorf("%s cannot be listed (check its permissions): %w", st.Folder, err)
	}
	told, refused := st.toldTakes(f.Takes, entries)
	for _, e := range entries {
		if take, ok := told[e.Name()]; ok {
			st.place(take)
			continue
		}
		if refused[e.Name()] {
			continue
		}
		if !isRecording(e.Name()) || e.IsDir() && !strings.EqualFold(filepath.Ext(e.Name()), ".wav") {
			continue
		}
		take, err := st.parseName(e.Name())
		if err != nil {
			st.Problems = append(st.Problems, Problem{e.Name(), err.Error()})
			continue
		}
		st.place(take)
	}
	st.inferNotes()
	slices.SortStableFunc(st.Takes, func(a, b Take) int {
		return cmp.Or(cmp.Compare(a.Test, b.Test), cmp.Compare(a.String, b.String), cmp.Compare(a.File, b.File))
	})
	return nil
}

// isRecording tells a recording by its ending; other kinds of audio are
// opened, too, so that they are refused by what they are.
func isRecording(name string) bool {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".wav", ".wave", ".bwf", ".rf64":
		return true
	case ".aif", ".aiff", ".flac", ".ogg", ".mp3", ".m4a", ".caf", ".w64":
		return named.MatchString(strings.TrimSuffix(name, filepath.Ext(name)))
	}
	return false
}

func (st *Stage) place(t Take) {
	t.Path = filepath.Join(st.Dir, t.File)
	st.Takes = append(st.Takes, t)
}

// parseName reads test and string off a file name.
func (st *Stage) parseName(file string) (Take, error) {
	stem := strings.TrimSuffix(file, filepath.Ext(file))
	m := named.FindStringSubmatch(stem)
	if m == nil {
		return Take{}, fmt.Errorf("%s: its name does not say what it is; name it like tap-1.wav, or list it under [[take]] in stage.toml", file)
	}
	t := Take{File: file, Test: Test(strings.ToLower(m[1])), Suffix: m[2]}
	switch t.Test {
	case Quiet:
		t.Hand = strings.Contains(strings.ToLower(t.Suffix), "hand")
		return t, nil
	case Sweep:
		if strings.HasPrefix(strings.ToLower(t.Suffix), "reference") {
			t.Test = SweepReference
			return t, nil
		}
	}
	part := stringPart.FindStringSubmatch(t.Suffix)
	if part == nil {
		if t.Test == Sweep {
			return t, nil
		}
		return Take{}, fmt.Errorf("%s: its name does not say which string; name it like %s-1.wav or %s-A3.wav", file, t.Test, t.Test)
	}
	t.Suffix = strings.TrimLeft(t.Suffix[len(part[1]):], "-_ .")
	number, err := st.stringNumber(part[1])
	if err != nil {
		return Take{}, fmt.Errorf("%s: %w", file, err)
	}
	t.String = number
	return t, nil
}

// noteKey marks a note that no TOML lists; inferNotes numbers it later.
const noteKey = 1000

// stringNumber reads a number or a note name.
func (st *Stage) stringNumber(text string) (int, error) {
	if n, err := strconv.Atoi(text); err == nil {
		limit := 12
		if len(st.Strings) > 0 {
			limit = len(st.Strings)
		}
		if n < 1 || n > limit {
			return 0, fmt.Errorf("there is no string %d on this instrument (1 to %d); rename it or correct strings in build.toml", n, limit)
		}
		return n, nil
	}
	note, err := signal.ParseNote(text)
	if err != nil {
		return 0, err
	}
	if len(st.Strings) == 0 {
		return noteKey + note.MIDI, nil
	}
	var hits []int
	for _, s := range st.Strings {
		if n, err := signal.ParseNote(s.Note); err == nil && n.MIDI == note.MIDI {
			hits = append(hits, s.Number)
		}
	}
	switch len(hits) {
	case 0:
		return 0, fmt.Errorf("no string is tuned to %s on this instrument; rename it or correct strings in build.toml", note.Name)
	case 1:
		return hits[0], nil
	default:
		return 0, fmt.Errorf("strings %d and %d are both tuned to %s; name the take by its string number", hits[0], hits[1], note.Name)
	}
}

// inferNotes numbers the notes of a folder without tuning: the highest is
// string 1. Names by number and by note cannot be matched then.
func (st *Stage) inferNotes() {
	midi := map[int]bool{}
	numbered := false
	for _, t := range st.Takes {
		if t.String >= noteKey {
			midi[t.String-noteKey] = true
		} else if t.String > 0 {
			numbered = true
		}
	}
	if len(midi) == 0 {
		return
	}
	var order []int
	for m := range midi {
		order = append(order, m)
	}
	slices.Sort(order)
	slices.Reverse(order)
	if numbered || len(order) > 12 {
		st.dropNoteTakes()
		return
	}
	for i, m := range order {
		note, _ := signal.NearestNote(signal.Note{MIDI: m}.Hz(st.A4Hz), st.A4Hz)
		st.Strings = append(st.Strings, String{i + 1, note.Name, note.Hz(st.A4Hz)})
	}
	for i, t := range st.Takes {
		if t.String >= noteKey {
			st.Takes[i].String = slices.Index(order, t.String-noteKey) + 1
		}
	}
}

func (st *Stage) dropNoteTakes() {
	st.Takes = slices.DeleteFunc(st.Takes, func(t Take) bool {
		if t.String < noteKey {
			return false
		}
		st.Problems = append(st.Problems, Problem{t.File, fmt.Sprintf(
			"%s: other takes go by string number, and no build.toml says which string has this note; list strings there or rename it", t.File)})
		return true
	})
}

// toldTakes reads the [[take]] entries, by file name. A file whose entry makes
// no sense is not used by its name either.
func (st *Stage) toldTakes(entries []takeFacts, there []os.DirEntry) (told map[string]Take, refused map[string]bool) {
	told, refused = map[string]Take{}, map[string]bool{}
	for _, e := range entries {
		t, err := st.toldTake(e, there)
		if err == nil {
			if before, twice := told[e.File]; twice && before != t {
				err = fmt.Errorf("%s: two [[take]] entries in stage.toml contradict each other; keep one", e.File)
				delete(told, e.File)
			}
		}
		if err != nil {
			st.Problems = append(st.Problems, Problem{e.File, err.Error()})
			refused[e.File] = true
			continue
		}
		told[e.File] = t
	}
	return told, refused
}

func (st *Stage) toldTake(e takeFacts, there []os.DirEntry) (Take, error) {
	if e.File == "" {
		return Take{}, errors.New("a [[take]] entry in stage.toml names no file; give it one")
	}
	if e.File != filepath.Base(e.File) || e.File == ".." || e.File == "." {
		return Take{}, fmt.Errorf("%s: [[take]] in stage.toml names a file outside the stage folder; move the take into it", e.File)
	}
	if !slices.ContainsFunc(there, func(d os.DirEntry) bool { return d.Name() == e.File }) {
		return Take{}, fmt.Errorf("%s: [[take]] in stage.toml names it, but it is not in the folder; check the name", e.File)
	}
	t := Take{File: e.File, Test: Test(e.Test)}
	switch t.Test {
	case Tap, Pluck, Tone, Sweep, SweepReference, Quiet:
	default:
		return t, fmt.Errorf("%s: [[take]] in stage.toml gives test %q; tap, pluck, tone, sweep, sweep-reference and quiet are allowed", e.File, e.Test)
	}
	if e.String != nil {
		n, err := st.stringNumber(fmt.Sprint(e.String))
		if err != nil {
			return t, fmt.Errorf("%s: %w", e.File, err)
		}
		t.String = n
	} else if t.Test == Tap || t.Test == Pluck || t.Test == Tone {
		return t, fmt.Errorf("%s: [[take]] in stage.toml does not say which string; add string = 1, say", e.File)
	}
	return t, st.contradiction(t)
}

// contradiction: the file's own name says something else.
func (st *Stage) contradiction(t Take) error {
	byName, err := st.parseName(t.File)
	if err != nil || byName.Test == t.Test && byName.String == t.String {
		return nil
	}
	return fmt.Errorf("%s: its name says %s, string %d, and [[take]] in stage.toml says %s, string %d; correct one of them",
		t.File, byName.Test, byName.String, t.Test, t.String)
}
