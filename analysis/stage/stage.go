// Package stage reads what a stage folder says: which takes it holds, by
// their file names, and the facts that stage.toml and, one level up,
// build.toml add about instrument, pickup, recording and limits.
//
// It opens no recording. A single file that makes no sense becomes a problem
// beside the takes; a TOML file that makes no sense is an error that names
// file, line and key.
package stage

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// Test is what a take records.
type Test string

// The tests.
const (
	Tap            Test = "tap"
	Pluck          Test = "pluck"
	Tone           Test = "tone"
	Sweep          Test = "sweep"
	SweepReference Test = "sweep-reference"
	Quiet          Test = "quiet"
)

// Stage is one folder of takes with what is known of them.
type Stage struct {
	Dir      string
	Folder   string // base name of Dir
	Name     string // stage, or the folder's name
	Build    string // name of the build; empty when not given
	Date     string // YYYY-MM-DD; empty when not given
	NextStep string
	Notes    string

	A4Hz     float64
	Strings  []String // as listed; empty when no TOML gives them
	Pickup   Pickup
	Capture  Capture
	Limits   []Limit
	Stimulus Stimulus

	BandsPerOctave int // of the tap response: 3, 6 or 12

	Takes       []Take // by test, string and file name
	Problems    []Problem
	Assumptions []string // sentences: what was taken for granted of the strings
	Ignored     []string // names of files that are no takes
}

// String is one string of the instrument. Number 1 is the first listed, the
// highest-pitched on most instruments.
type String struct {
	Number int
	Note   string
	Hz     float64
}

// Pickup is the discs and what they hang on. Assumed lists the keys that rest
// on defaults.
type Pickup struct {
	Discs    int
	Wiring   string // parallel, series, or a mix such as 2s2p
	DiscNF   float64
	CablePF  float64
	InputPF  float64
	InputOhm float64
	Assumed  []string
}

// Capture is how the takes were recorded; zero means unknown.
type Capture struct {
	Channel         int // from 1; 0: choose
	MainsHz         float64
	FullScaleVolts  float64
	ReferenceToneHz float64
}

// Stimulus is the exponential sweep that was played, for sweep takes without
// a reference file; zero values mean not given.
type Stimulus struct {
	LowHz     float64
	HighHz    float64
	Seconds   float64
	LevelDBFS float64
}

// Take is one recording in the folder.
type Take struct {
	File   string // base name
	Path   string
	Test   Test
	String int    // 0: none
	Suffix string // free text after the string
	Hand   bool   // quiet take with a hand on the ground
}

// Problem is one file that could not be placed, in one sentence.
type Problem struct {
	File string
	Text string
}

// Read reads the stage in folder dir.
func Read(dir string) (*Stage, error) {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("there is no folder %s; give the folder that holds the takes of one stage", dir)
	case err != nil:
		return nil, fmt.Errorf("look at %s: %w", dir, err)
	case !info.IsDir():
		return nil, fmt.Errorf("%s is a file; give the folder that holds the takes of one stage", dir)
	}
	full, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("look at %s: %w", dir, err)
	}
	facts, err := readFacts(full)
	if err != nil {
		return nil, err
	}
	st, err := facts.stage(full)
	if err != nil {
		return nil, err
	}
	if err := st.findTakes(facts); err != nil {
		return nil, err
	}
	if len(st.Takes) == 0 {
		return nil, st.noTakes()
	}
	return st, nil
}

// StringCount is how many strings the instrument has, as listed or as far as
// the takes' numbers go.
func (st *Stage) StringCount() int {
	n := len(st.Strings)
	for _, t := range st.Takes {
		n = max(n, t.String)
	}
	return n
}

// Target is the listed string of that number, nil when none is listed.
func (st *Stage) Target(number int) *String {
	if number < 1 || number > len(st.Strings) {
		return nil
	}
	return &st.Strings[number-1]
}

// Limit is the value of the limit named key; 0 for an unknown key.
func (st *Stage) Limit(key string) float64 {
	i := slices.IndexFunc(st.Limits, func(l Limit) bool { return l.Key == key })
	if i < 0 {
		return 0
	}
	return st.Limits[i].Value
}

// Keep drops all takes but the one in file, with the problems of others.
func (st *Stage) Keep(file string) error {
	st.Takes = slices.DeleteFunc(st.Takes, func(t Take) bool { return t.File != file })
	st.Problems = slices.DeleteFunc(st.Problems, func(p Problem) bool { return p.File != file })
	if len(st.Takes) == 0 && len(st.Problems) == 0 {
		return fmt.Errorf("there is no take %s in %s; check the name, and that it is a WAV file named like tap-1.wav", file, st.Dir)
	}
	return nil
}
