package stage

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// tests are what [[take]] may say.
var tests = []string{string(Tap), string(Pluck), string(Tone), string(Sweep), string(SweepReference), string(Quiet)}

// toldTakes reads the [[take]] entries, by file name. A file whose entry makes
// no sense, or that two entries contradict each other about, is not used by
// its name either.
func (st *Stage) toldTakes(entries []takeFacts, there []os.DirEntry) (told map[string]candidate, refused map[string]bool) {
	told, refused = map[string]candidate{}, map[string]bool{}
	for _, e := range entries {
		name, found := nameThere(e.File, there)
		if e.common && (!found || told[name].File != "") {
			continue
		}
		c, err := st.toldTake(e, name, found)
		if before, twice := told[name]; err == nil && twice && !same(before, c) {
			err = fmt.Errorf("%s: two [[take]] entries contradict each other; keep one", name)
		}
		if err == nil {
			told[name] = c
			continue
		}
		if !refused[name] {
			st.Problems = append(st.Problems, Problem{name, fmt.Sprintf("%s (%s)", err, e.where())})
		}
		refused[name] = true
	}
	return told, refused
}

// where names the entry's place.
func (e takeFacts) where() string {
	if e.common {
		return fmt.Sprintf("build.toml, line %d", e.line)
	}
	return fmt.Sprintf("stage.toml, line %d", e.line)
}

func same(a, b candidate) bool {
	if a.note == nil || b.note == nil {
		return a == b
	}
	return a.Take == b.Take && a.note.MIDI == b.note.MIDI
}

// nameThere is the file in the folder that said means; letters' case may
// differ where no file matches it exactly and only one otherwise.
func nameThere(said string, there []os.DirEntry) (string, bool) {
	hits := []string{}
	for _, d := range there {
		if d.Name() == said {
			return said, true
		}
		if strings.EqualFold(d.Name(), said) {
			hits = append(hits, d.Name())
		}
	}
	if len(hits) == 1 {
		return hits[0], true
	}
	return said, false
}

func (st *Stage) toldTake(e takeFacts, name string, found bool) (candidate, error) {
	c := candidate{Take: Take{File: name, Test: Test(e.Test), Hand: e.Hand}}
	switch {
	case e.File == "":
		return c, fmt.Errorf("a [[take]] entry names no file; add file = \"...\"")
	case strings.ContainsAny(e.File, "/\\") || e.File == ".." || e.File == ".":
		return c, fmt.Errorf("%s: [[take]] names a file outside the stage folder; move the take into it", e.File)
	case !found:
		return c, fmt.Errorf("%s: [[take]] names it, but it is not in the folder%s", e.File, st.similar(e.File))
	case st.leadsOut(name):
		return c, fmt.Errorf("%s: it is a link that leads out of the stage folder; copy the recording into it", name)
	case !slices.Contains(tests, e.Test):
		return c, fmt.Errorf("%s: [[take]] gives test %q; %s are allowed", name, e.Test, strings.Join(tests, ", "))
	case e.Hand && c.Test != Quiet:
		return c, fmt.Errorf("%s: [[take]] gives hand for a %s take; it is for quiet takes", name, e.Test)
	}
	if err := st.toldString(&c, e.String); err != nil {
		return c, fmt.Errorf("%s: %w", name, err)
	}
	return c, st.contradiction(&c)
}

func (st *Stage) toldString(c *candidate, said any) error {
	needs := c.Test == Tap || c.Test == Pluck || c.Test == Tone
	switch {
	case said == nil && needs && len(st.Strings) == 1:
		c.String = 1
	case said == nil && needs:
		return fmt.Errorf("[[take]] does not say which string; add string = 1, say")
	case said == nil:
	case !needs && c.Test != Sweep:
		return fmt.Errorf("[[take]] gives a string for a %s take; take it out", c.Test)
	default:
		return st.setString(c, fmt.Sprint(said))
	}
	return nil
}

// contradiction: the file's own name says something else.
func (st *Stage) contradiction(c *candidate) error {
	byName, err := st.parseName(c.File)
	if err != nil {
		return nil // the entry is there because the name says nothing
	}
	silent := byName.String == 0 && byName.note == nil
	agree := byName.String == c.String && (byName.note == nil) == (c.note == nil)
	if agree && c.note != nil {
		agree = byName.note.MIDI == c.note.MIDI
	}
	if byName.Test == c.Test && (silent || agree) {
		c.Hand = c.Hand || byName.Hand
		return nil
	}
	return fmt.Errorf("%s: its name says %s, and [[take]] says %s; correct one of them", c.File, byName.said(), c.said())
}

// said is a take in words.
func (c candidate) said() string {
	switch {
	case c.note != nil:
		return fmt.Sprintf("%s of string %s", c.Test, c.note.Name)
	case c.String > 0:
		return fmt.Sprintf("%s of string %d", c.Test, c.String)
	}
	return string(c.Test)
}

// similar suggests a file of nearly that name.
func (st *Stage) similar(said string) string {
	entries, err := os.ReadDir(st.Dir)
	if err != nil {
		return "; check the name"
	}
	var names []string
	for _, e := range entries {
		if isRecording(e.Name()) {
			names = append(names, e.Name())
		}
	}
	if best := nearest(said, names); best != "" {
		return fmt.Sprintf("; did you mean %q?", best)
	}
	return "; check the name"
}

// leadsOut tells a link whose target lies outside the folder.
func (st *Stage) leadsOut(name string) bool {
	path := filepath.Join(st.Dir, name)
	info, err := os.Lstat(path)
	if err != nil || info.Mode()&os.ModeSymlink == 0 {
		return false
	}
	target, err := filepath.EvalSymlinks(path)
	if err != nil {
		return false // broken: told later
	}
	home, err := filepath.EvalSymlinks(st.Dir)
	if err != nil {
		return true
	}
	within, err := filepath.Rel(home, target)
	return err != nil || within == ".." || strings.HasPrefix(within, ".."+string(filepath.Separator))
}
