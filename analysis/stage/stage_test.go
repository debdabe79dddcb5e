package stage

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// folder makes a build with one stage, "wired", of the named files. A file
// named ../build.toml or stage.toml gets the text after its first "=";
// anything else stays empty.
func folder(t testing.TB, files ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "wired")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		name, text := f, ""
		for _, facts := range []string{"../build.toml", "stage.toml"} {
			if after, ok := strings.CutPrefix(f, facts+"="); ok {
				name, text = facts, after
			}
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func read(t *testing.T, files ...string) *Stage {
	t.Helper()
	st, err := Read(folder(t, files...))
	if err != nil {
		t.Fatal(err)
	}
	return st
}

const celloTOML = "../build.toml=[instrument]\nstrings = [\"A3\", \"D3\", \"G2\", \"C2\"]\n"

func TestFileNames(t *testing.T) {
	for _, tc := range []struct {
		file string
		test Test
		str  int
		hand bool
		rest string
	}{
		{"tap-3.wav", Tap, 3, false, ""},
		{"Tap 3.WAV", Tap, 3, false, ""},
		{"tap_3.wav", Tap, 3, false, ""},
		{"tap3.wav", Tap, 3, false, ""},
		{"tap-03.wav", Tap, 3, false, ""},
		{"TAP - 3.wave", Tap, 3, false, ""},
		{"tap-3-second try.wav", Tap, 3, false, "second try"},
		{"tap-3 (2).wav", Tap, 3, false, "(2)"},
		{"tap-3.take.2.wav", Tap, 3, false, "take.2"},
		{"pluck-G2.wav", Pluck, 3, false, ""},
		{"pluck-g2.wav", Pluck, 3, false, ""},
		{"pluck-F##2.wav", "", 0, false, ""}, // not in the grammar of names
		{"pluck-A3 soft.bwf", Pluck, 1, false, "soft"},
		{"tone-1.wav", Tone, 1, false, ""},
		{"sweep.wav", Sweep, 0, false, ""},
		{"sweep-2.wav", Sweep, 2, false, ""},
		{"sweep-2nd try.wav", Sweep, 0, false, "2nd try"},
		{"Sweep-Reference.wav", SweepReference, 0, false, "Reference"},
		{"quiet.wav", Quiet, 0, false, ""},
		{"quiet-3.wav", Quiet, 0, false, "3"},
		{"quiet 2 lamp on.wav", Quiet, 0, false, "2 lamp on"},
		{"quiet-hand.wav", Quiet, 0, true, "hand"},
		{"quiet-Hand on jack 2.wav", Quiet, 0, true, "Hand on jack 2"},
		{"quiet-2 hands.wav", Quiet, 0, true, "2 hands"},
		{"quiet-no hand.wav", Quiet, 0, false, "no hand"},
		{"quiet-hands off.wav", Quiet, 0, false, "hands off"},
		{"quiet-secondhand amp.wav", Quiet, 0, false, "secondhand amp"},
		{"tap-3.flac", Tap, 3, false, ""},
	} {
		st := read(t, celloTOML, tc.file, "quiet-anything else.wav")
		var got []Take
		for _, k := range st.Takes {
			if k.File == tc.file {
				got = append(got, k)
			}
		}
		if tc.test == "" {
			if len(got) != 0 || len(st.Problems) != 1 {
				t.Errorf("%s: takes %v, problems %v", tc.file, got, st.Problems)
			}
			continue
		}
		want := []Take{{tc.file, filepath.Join(st.Dir, tc.file), tc.test, tc.str, tc.rest, tc.hand}}
		if d := cmp.Diff(want, got); d != "" || len(st.Problems) > 0 {
			t.Errorf("%s: %s%v", tc.file, d, st.Problems)
		}
	}
}

// Every file name of both enharmonic spellings finds the same string, with
// ASCII and Unicode signs (pitches: ISO 16 names, twelve-tone equal
// temperament).
func TestEnharmonicNamesAgree(t *testing.T) {
	for _, tuning := range []string{"Bb3", "A#3", "A♯3", "B♭3"} {
		for _, name := range []string{"Bb3", "bb3", "A#3", "a#3", "A♯3", "B♭3"} {
			st := read(t, fmt.Sprintf("../build.toml=instrument.strings = [\"D4\", %q]", tuning), "pluck-"+name+".wav")
			if len(st.Takes) != 1 || st.Takes[0].String != 2 {
				t.Errorf("%s on %s: takes %v, problems %v", name, tuning, st.Takes, st.Problems)
			}
		}
	}
}

func TestNamesThatMakeNoSense(t *testing.T) {
	for _, tc := range []struct{ file, says string }{
		{"memo 014.wav", "does not say what it is"},
		{"tape 2.wav", "does not say what it is"},
		{"tap.wav", "does not say which string"},
		{"tap-second.wav", "does not say which string"},
		{"tap-2nd take.wav", "does not say which string"},
		{"tap-123.wav", "does not say which string"},
		{"tap-5.wav", "no string 5 on this instrument (1 to 4)"},
		{"tap-0.wav", "no string 0"},
		{"pluck-E2.wav", "no string is tuned to E2 on this instrument (1 A3, 2 D3, 3 G2, 4 C2)"},
	} {
		st := read(t, celloTOML, tc.file, "tap-1.wav")
		if len(st.Takes) != 1 || st.Takes[0].File != "tap-1.wav" {
			t.Errorf("%s: takes %v", tc.file, st.Takes)
		}
		wantProblem(t, st, tc.file, tc.says)
	}
}

// wantProblem: exactly one problem, of that file, in one line that names it.
func wantProblem(t *testing.T, st *Stage, file, says string) {
	t.Helper()
	if len(st.Problems) != 1 || st.Problems[0].File != file {
		t.Errorf("%s: problems %v", file, st.Problems)
		return
	}
	text := st.Problems[0].Text
	if !strings.Contains(text, says) || !strings.Contains(text, file) || strings.Contains(text, "\n") {
		t.Errorf("%s: %q does not say %q", file, text, says)
	}
}

func TestFilesThatAreNoTakes(t *testing.T) {
	dir := folder(t, "tap-1.wav", "photo.jpg", "notes.txt", "stage.toml=", "._tap-2.wav", ".hidden.wav", "old.flac")
	for _, d := range []string{"report", "tap-9.wav"} {
		if err := os.Mkdir(filepath.Join(dir, d), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(filepath.Join(dir, "gone.wav"), filepath.Join(dir, "tap-3.wav")); err != nil {
		t.Fatal(err)
	}
	st, err := Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"notes.txt", "old.flac", "photo.jpg"}, st.Ignored); d != "" {
		t.Error(d)
	}
	if len(st.Takes) != 1 || len(st.Problems) != 2 {
		t.Fatalf("takes %v, problems %v", st.Takes, st.Problems)
	}
	for i, says := range []string{"link to a file that is not there", "folder named like a recording"} {
		if !strings.Contains(st.Problems[i].Text, says) {
			t.Errorf("%q does not say %q", st.Problems[i].Text, says)
		}
	}
}

func TestFoldersThatCannotBeRead(t *testing.T) {
	build := filepath.Dir(folder(t, "tap-1.wav"))
	file := filepath.Join(build, "a file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ dir, says string }{
		{filepath.Join(build, "nowhere"), "there is no folder"},
		{file, "is a file; give the folder"},
		{folder(t), "holds no takes; record WAV files named like"},
		{folder(t, "memo.wav", "memo2.wav"), "no take that can be used: memo.wav: its name does not say what it is; name it like tap-1.wav, or list it under [[take]] in stage.toml (and 1 more"},
		{build, "give one of the folders in it: wired"},
	} {
		_, err := Read(tc.dir)
		if err == nil || !strings.Contains(err.Error(), tc.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v does not say %q", tc.dir, err, tc.says)
		}
	}
}

func TestNamesAlone(t *testing.T) {
	for _, tc := range []struct {
		name     string
		files    []string
		strings  string // tuning found
		count    int
		problems int
	}{
		{"numbers", []string{"tap-1.wav", "tap-6.wav"}, "", 6, 0},
		{"notes", []string{"pluck-E2.wav", "pluck-E4.wav", "pluck-G3.wav", "pluck-g3 2.wav"}, "1 E4, 2 G3, 3 E2", 3, 0},
		{"numbers and all notes of a violin", []string{"tap-1.wav", "tap-4.wav", "pluck-G3.wav", "pluck-D4.wav", "pluck-A4.wav", "pluck-E5.wav"}, "1 E5, 2 A4, 3 D4, 4 G3", 4, 0},
		// A ukulele's string 4 is not its lowest: nobody can tell from names.
		{"numbers and notes of a ukulele", []string{"tap-1.wav", "tap-4.wav", "pluck-A4.wav", "pluck-E4.wav", "pluck-C4.wav", "pluck-G4.wav"}, "", 4, 4},
		// Two of six strings, or strings 1 and 2?
		{"two numbers and two far notes", []string{"tap-1.wav", "tap-2.wav", "pluck-E4.wav", "pluck-E2.wav"}, "", 2, 2},
		{"fewer numbers than notes", []string{"tap-1.wav", "pluck-E4.wav", "pluck-B3.wav"}, "", 1, 2},
		{"a guitar", []string{"tap-6.wav", "pluck-E4.wav", "pluck-B3.wav", "pluck-G3.wav", "pluck-D3.wav", "pluck-A2.wav", "pluck-E2.wav"}, "1 E4, 2 B3, 3 G3, 4 D3, 5 A2, 6 E2", 6, 0},
		{"numbers and some notes", []string{"tap-1.wav", "tap-4.wav", "pluck-E4.wav"}, "", 4, 1},
		{"silence", []string{"quiet.wav"}, "", 0, 0},
	} {
		st := read(t, tc.files...)
		if st.tuning() != tc.strings || st.StringCount() != tc.count || len(st.Problems) != tc.problems {
			t.Errorf("%s: %q, %d strings, problems %v", tc.name, st.tuning(), st.StringCount(), st.Problems)
		}
		if (len(st.Assumptions) == 1) != (tc.strings != "") {
			t.Errorf("%s: assumptions %q", tc.name, st.Assumptions)
		}
		if st.Pickup.Discs != max(tc.count, 1) {
			t.Errorf("%s: %d discs", tc.name, st.Pickup.Discs)
		}
	}
}

func TestTunings(t *testing.T) {
	ukulele := read(t, "../build.toml=instrument.strings = [\"A4\", \"E4\", \"C4\", \"G4\"]", "pluck-G4.wav")
	if got := ukulele.Takes[0].String; got != 4 {
		t.Errorf("re-entrant string G4 is %d, want 4", got)
	}
	twelve := "../build.toml=instrument.strings = [\"E4\",\"E4\",\"B3\",\"B3\",\"G4\",\"G3\",\"D4\",\"D3\",\"A3\",\"A2\",\"E3\",\"E2\"]"
	wantProblem(t, read(t, twelve, "pluck-B3.wav", "tap-12.wav"), "pluck-B3.wav", "strings 3 and 4 are both tuned to B3; name the take by its string number")
	one := read(t, "../build.toml=instrument.strings = [\"C2\"]", "tap.wav")
	if one.Takes[0].String != 1 {
		t.Errorf("the only string is %d", one.Takes[0].String)
	}
	// ISO 16:1975 puts A4 at 440 Hz; half of it an octave lower.
	if hz := read(t, celloTOML, "tap-1.wav").Target(1).Hz; hz != 220 {
		t.Errorf("A3 is %g Hz", hz)
	}
	if hz := read(t, celloTOML+"a4_hz = 442", "tap-1.wav").Target(1).Hz; hz != 221 {
		t.Errorf("A3 with A4 at 442 Hz is %g Hz", hz)
	}
}
