package stage

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// findTakes lists the folder and places every recording in it.
func (st *Stage) findTakes(f *facts) error {
	entries, err := os.ReadDir(st.Dir)
	if err != nil {
		return fmt.Errorf("%s cannot be listed; check its permissions: %w", st.Folder, err)
	}
	told, refused := st.toldTakes(f.Takes, entries)
	var found []candidate
	for _, e := range entries {
		name := e.Name()
		c, isTold := told[name]
		switch {
		case refused[name], strings.HasPrefix(name, "."):
			continue
		case !isTold && !isRecording(name):
			st.ignore(e)
			continue
		}
		err := st.checkFile(name)
		if err == nil && !isTold {
			c, err = st.parseName(name)
		}
		if err != nil {
			st.Problems = append(st.Problems, Problem{name, err.Error()})
			continue
		}
		c.Path = filepath.Join(st.Dir, name)
		found = append(found, c)
	}
	st.place(found)
	return nil
}

// ignore lists a file that is no take; the facts themselves and folders are
// no news.
func (st *Stage) ignore(e os.DirEntry) {
	if !e.IsDir() && e.Name() != "stage.toml" && e.Name() != "build.toml" {
		st.Ignored = append(st.Ignored, e.Name())
	}
}

// checkFile refuses what cannot be a recording whatever its name: a folder, a
// broken link, a pipe.
func (st *Stage) checkFile(name string) error {
	info, err := os.Stat(filepath.Join(st.Dir, name))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: it is a link to a file that is not there; copy the recording into the folder", name)
	case err != nil:
		return fmt.Errorf("%s: it cannot be looked at; check its permissions: %w", name, err)
	case info.IsDir():
		return fmt.Errorf("%s: it is a folder named like a recording; rename it", name)
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s: it is not a plain file; copy the recording into the folder", name)
	}
	return nil
}

// place numbers the strings and puts the takes in order.
func (st *Stage) place(found []candidate) {
	for _, c := range st.number(found) {
		st.Takes = append(st.Takes, c.Take)
	}
	slices.SortStableFunc(st.Takes, func(a, b Take) int {
		return cmp.Or(cmp.Compare(a.Test, b.Test), cmp.Compare(a.String, b.String), cmp.Compare(a.File, b.File))
	})
	if st.Pickup.Discs == 0 {
		st.Pickup.Discs = max(st.StringCount(), 1)
	}
}

// noTakes says why nothing can be done, and what to do.
func (st *Stage) noTakes() error {
	if n := len(st.Problems); n > 0 {
		more := ""
		if n > 1 {
			more = fmt.Sprintf(" (and %d more that cannot be used)", n-1)
		}
		return fmt.Errorf("%s holds no take that can be used: %s%s", st.Folder, st.Problems[0].Text, more)
	}
	if stages := st.stagesInside(); len(stages) > 0 {
		return fmt.Errorf("%s holds no takes itself; give one of the folders in it: %s", st.Folder, strings.Join(stages, ", "))
	}
	return fmt.Errorf("%s holds no takes; record WAV files named like tap-1.wav, pluck-A3.wav, tone-1.wav or quiet.wav (saddlewise plan lists them)", st.Folder)
}

// stagesInside lists folders with recordings: the build was given instead of
// a stage.
func (st *Stage) stagesInside() []string {
	entries, err := os.ReadDir(st.Dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range entries {
		files, err := os.ReadDir(filepath.Join(st.Dir, e.Name()))
		if err != nil || !e.IsDir() {
			continue
		}
		if slices.ContainsFunc(files, func(f os.DirEntry) bool { return isRecording(f.Name()) }) {
			out = append(out, e.Name())
		}
	}
	return out
}
