package stage

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// entry makes one [[take]].
func entry(lines ...string) string { return "[[take]]\n" + strings.Join(lines, "\n") + "\n" }

func TestEntriesSayWhatNamesDoNot(t *testing.T) {
	st := read(t, celloTOML, "memo 014.wav", "memo 015.wav", "MEMO 016.WAV", "memo 017.wav", "quiet-hand.wav",
		"stage.toml="+
			entry(`file = "memo 014.wav"`, `test = "tap"`, "string = 2")+
			entry(`file = "memo 015.wav"`, `test = "pluck"`, `string = "G2"`)+
			entry(`file = "memo 016.wav"`, `test = "quiet"`, "hand = true")+
			entry(`file = "memo 017.wav"`, `test = "sweep"`)+
			entry(`file = "quiet-hand.wav"`, `test = "quiet"`))
	want := map[string]Take{
		"memo 014.wav":   {Test: Tap, String: 2},
		"memo 015.wav":   {Test: Pluck, String: 3},
		"MEMO 016.WAV":   {Test: Quiet, Hand: true},
		"memo 017.wav":   {Test: Sweep},
		"quiet-hand.wav": {Test: Quiet, Hand: true},
	}
	if len(st.Takes) != len(want) || len(st.Problems) > 0 {
		t.Fatalf("takes %v, problems %v", st.Takes, st.Problems)
	}
	for _, k := range st.Takes {
		w := want[k.File]
		if k.Test != w.Test || k.String != w.String || k.Hand != w.Hand || k.Path != filepath.Join(st.Dir, k.File) {
			t.Errorf("%+v, want %+v", k, w)
		}
	}
}

func TestEntriesThatMakeNoSense(t *testing.T) {
	for _, tc := range []struct {
		name, toml, file, says string
	}{
		{"name says another string", entry(`file = "tap-3.wav"`, `test = "tap"`, "string = 2"), "tap-3.wav", "its name says tap of string 3, and [[take]] says tap of string 2; correct one of them"},
		{"name says another test", entry(`file = "tap-3.wav"`, `test = "pluck"`, "string = 3"), "tap-3.wav", "its name says tap of string 3, and [[take]] says pluck of string 3"},
		{"two entries", entry(`file = "memo.wav"`, `test = "tap"`, "string = 2") + entry(`file = "memo.wav"`, `test = "tap"`, "string = 3"), "memo.wav", "two [[take]] entries contradict"},
		{"three entries", entry(`file = "memo.wav"`, `test = "tap"`, "string = 2") + entry(`file = "memo.wav"`, `test = "tap"`, "string = 3") + entry(`file = "memo.wav"`, `test = "tap"`, "string = 3"), "memo.wav", "two [[take]] entries contradict"},
		{"missing file", entry(`file = "tap-33.wav"`, `test = "tap"`, "string = 2"), "tap-33.wav", `not in the folder; did you mean "tap-3.wav"?`},
		{"not on the instrument", entry(`file = "memo.wav"`, `test = "tap"`, "string = 5"), "memo.wav", "no string 5 on this instrument (1 to 4)"},
		{"no such note", entry(`file = "memo.wav"`, `test = "tap"`, `string = "H2"`), "memo.wav", "not a note name"},
		{"no string", entry(`file = "memo.wav"`, `test = "tap"`), "memo.wav", "does not say which string"},
		{"no test", entry(`file = "memo.wav"`), "memo.wav", `gives test ""; tap, pluck, tone, sweep, sweep-reference, quiet are allowed`},
		{"unknown test", entry(`file = "memo.wav"`, `test = "knock"`), "memo.wav", `gives test "knock"`},
		{"quiet string", entry(`file = "memo.wav"`, `test = "quiet"`, "string = 1"), "memo.wav", "gives a string for a quiet take"},
		{"hand on a tap", entry(`file = "memo.wav"`, `test = "tap"`, "string = 1", "hand = true"), "memo.wav", "gives hand for a tap take"},
		{"outside", entry(`file = "../wired/memo.wav"`, `test = "tap"`, "string = 1"), "../wired/memo.wav", "outside the stage folder"},
		{"outside for another system", entry(`file = 'C:\memo.wav'`, `test = "tap"`, "string = 1"), `C:\memo.wav`, "outside the stage folder"},
		{"absolute", entry(`file = "/etc/passwd"`, `test = "tap"`, "string = 1"), "/etc/passwd", "outside the stage folder"},
		{"the folder itself", entry(`file = "."`, `test = "tap"`, "string = 1"), ".", "outside the stage folder"},
	} {
		files := []string{celloTOML, "tap-1.wav", "stage.toml=" + tc.toml}
		for _, f := range []string{"memo.wav", "tap-3.wav"} {
			if f == tc.file || f == "tap-3.wav" {
				files = append(files, f)
			}
		}
		st := read(t, files...)
		wantProblem(t, st, tc.file, tc.says)
		if !strings.Contains(st.Problems[0].Text, "stage.toml, line ") {
			t.Errorf("%s: %q names no line", tc.name, st.Problems[0].Text)
		}
		for _, k := range st.Takes {
			if k.File == tc.file {
				t.Errorf("%s: used all the same: %+v", tc.name, k)
			}
		}
		if st.Takes[0].File != "tap-1.wav" {
			t.Errorf("%s: the other takes are gone: %v", tc.name, st.Takes)
		}
	}
}

// Twice the same is no contradiction; an entry of build.toml is for the
// stages that have the file, and stage.toml's wins.
func TestEntriesThatAgree(t *testing.T) {
	memo := entry(`file = "memo.wav"`, `test = "tap"`, "string = 2")
	st := read(t, celloTOML+
		entry(`file = "memo.wav"`, `test = "tap"`, "string = 4")+
		entry(`file = "elsewhere.wav"`, `test = "tap"`, "string = 4")+
		entry(`file = "other.wav"`, `test = "tap"`, "string = 3"),
		"memo.wav", "other.wav", "stage.toml="+memo+memo)
	if len(st.Problems) > 0 || len(st.Takes) != 2 || st.Takes[0].String != 2 || st.Takes[1].String != 3 {
		t.Errorf("takes %v, problems %v", st.Takes, st.Problems)
	}
}

func TestLinksThatLeadOut(t *testing.T) {
	dir := folder(t, "tap-1.wav", "stage.toml="+entry(`file = "memo.wav"`, `test = "tap"`, "string = 2")+entry(`file = "inside.wav"`, `test = "tap"`, "string = 3"))
	outside := filepath.Join(t.TempDir(), "secret.wav")
	if err := os.WriteFile(outside, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for link, target := range map[string]string{"memo.wav": outside, "inside.wav": "tap-1.wav"} {
		if err := os.Symlink(target, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	st, err := Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	wantProblem(t, st, "memo.wav", "a link that leads out of the stage folder")
	if len(st.Takes) != 2 {
		t.Errorf("takes %v", st.Takes)
	}
}
