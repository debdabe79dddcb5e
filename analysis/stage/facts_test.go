package stage

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestFactsOfBothFiles(t *testing.T) {
	st := read(t, `../build.toml=name = "Heron practice cello"
stage = "any"
[instrument]
strings = ["A3", "D3", "G2", "C2", "F1"]
a4_hz = 442
[pickup]
discs = 4
disc_nf = 18.5
input_ohm = 1e6
[limits]
balance_db = 4
tuning_cents = 5.0
`, `stage.toml=stage = "glued"
date = 2026-03-14
next_step = "potting"
notes = """
slow epoxy
[pickup]
discs = 99"""
[instrument]
strings = ["A3", "D3", "G2", "C2"]
[pickup]
wiring = "2s2p"
input_ohm = 10_000_000
[capture]
channel = 2
mains_hz = 50
full_scale_volts = 1.5
reference_tone_hz = 441.0
[stimulus]
low_hz = 20
high_hz = 20_000
seconds = 10.5
level_dbfs = -6
[limits]
balance_db = 2
`, "tap-4.wav")
	if st.Build != "Heron practice cello" || st.Name != "glued" || st.Folder != "wired" || st.Date != "2026-03-14" || st.NextStep != "potting" || !strings.HasPrefix(st.Notes, "slow epoxy") {
		t.Errorf("%+v", st)
	}
	if st.tuning() != "1 A3, 2 D3, 3 G2, 4 C2" || st.A4Hz != 442 {
		t.Errorf("tuning %s, A4 %g Hz", st.tuning(), st.A4Hz)
	}
	if d := cmp.Diff(Pickup{4, "2s2p", 18.5, 300, 0, 1e7, []string{"cable_pf", "input_pf"}}, st.Pickup); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(Capture{2, 50, 1.5, 441}, st.Capture); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(Stimulus{20, 20000, 10.5, -6}, st.Stimulus); d != "" {
		t.Error(d)
	}
	if st.Limit("balance_db") != 2 || st.Limit("tuning_cents") != 5 || st.Limit("t60_ratio") != 0.4 || st.Limit("nothing") != 0 {
		t.Errorf("limits %v", st.Limits)
	}
	for _, l := range st.Limits {
		if l.Given != (l.Key == "balance_db" || l.Key == "tuning_cents") {
			t.Errorf("%s: given is %v", l.Key, l.Given)
		}
	}
}

// Faults of stage.toml, by line and words; all of a file at once.
func TestFaults(t *testing.T) {
	for _, tc := range []struct {
		name, toml string
		want       []string
	}{
		{"misspelt", "[pickup]\ndics = 4", []string{`line 2: unknown key "dics" in [pickup]; did you mean "discs"?`}},
		{"misspelt at the top", "\n\nnmae = \"x\"", []string{`line 3: unknown key "nmae"; did you mean "name"?`}},
		{"misspelt section", "[pikcup]\ndiscs = 4", []string{`line 1: unknown key "pikcup"; did you mean "pickup"?`}},
		{"misspelt limit", "[limits]\nbalance = 2", []string{`line 2: unknown key "balance" in [limits]; did you mean "balance_db"?`}},
		{"in the wrong section", "[instrument]\ninput_ohm = 1e6", []string{`line 2: unknown key "input_ohm" in [instrument]; it belongs in [pickup]`}},
		{"below a section", "[pickup]\nnotes = \"x\"", []string{`line 2: unknown key "notes" in [pickup]; it belongs above the first [section]`}},
		{"like nothing", "[capture]\nfoo = 1", []string{`line 2: unknown key "foo" in [capture]; known here: channel, full_scale_volts, mains_hz, reference_tone_hz`}},
		{"capital", "[pickup]\nDiscs = 4", []string{`line 2: unknown key "Discs" in [pickup]; did you mean "discs"?`}},
		{"dotted", "pickup.dics = 4", []string{`line 1: unknown key "dics" in [pickup]; did you mean "discs"?`}},
		{"inline", "pickup = {discs = 4,\n  wirring = \"series\"}", []string{`line 2: unknown key "wirring" in [pickup]; did you mean "wiring"?`}},
		{"inside a take", "[[take]]\nfile = \"x.wav\"\nstrng = 2", []string{`line 3: unknown key "strng" in [take]; did you mean "string"?`}},
		{"single brackets", "[take]\nfile = \"x.wav\"", []string{"line 1: write [[take]] in double brackets, once for each file"}},
		{"double brackets", "[[pickup]]\ndiscs = 4", []string{"line 1: write [pickup] in single brackets, once"}},
		{"key as section", "[stage]\nname = \"x\"", []string{"line 1: stage is no section; write stage = ... above the first [section]"}},
		{"section as key", "pickup = 4", []string{"line 1: pickup is a section; write [pickup] and its keys below"}},
		{"text for number", "[pickup]\n\ndiscs = \"four\"", []string{"line 3: pickup.discs must be a whole number"}},
		{"fraction", "[pickup]\ndiscs = 4.5", []string{"line 2: pickup.discs must be a whole number"}},
		{"number for text", "name = 5", []string{"line 1: name must be text in quotes"}},
		{"quoted date", "date = \"2026-03-14\"", []string{"line 1: date must be a date without quotes, such as 2026-03-14"}},
		{"impossible date", "date = 2026-02-31", []string{"line 1: not TOML: impossible date"}},
		{"one string as text", "[instrument]\nstrings = \"A3\"", []string{`line 2: instrument.strings must be a list of note names, such as ["A3", "D3"]`}},
		{"strings by number", "[instrument]\nstrings = [\"A3\",\n 2]", []string{"line 2: instrument.strings must be a list of note names"}},
		{"no note", "[instrument]\nstrings = [\"A3\", \"H3\"]", []string{`line 2: instrument.strings holds "H3" is not a note name`}},
		{"no strings", "[instrument]\nstrings = []", []string{"line 2: instrument.strings lists 0 strings; 1 to 12 are allowed"}},
		{"13 strings", "[instrument]\nstrings = [" + strings.Repeat("\"A3\",", 13) + "]", []string{"line 2: instrument.strings lists 13 strings; 1 to 12 are allowed"}},
		{"negative pitch", "[instrument]\na4_hz = -440", []string{"line 2: instrument.a4_hz is -440 Hz; 300 to 600 Hz is allowed"}},
		{"not a number", "[instrument]\na4_hz = nan", []string{"line 2: instrument.a4_hz is NaN Hz; 300 to 600 Hz is allowed"}},
		{"infinite", "[pickup]\ninput_ohm = inf", []string{"line 2: pickup.input_ohm is +Inf ohm; 100 to 1e+12 ohm is allowed"}},
		{"mains", "[capture]\nmains_hz = 55", []string{"line 2: capture.mains_hz is 55 Hz; 50, 60 and 0 (find out) are allowed"}},
		{"tone", "[capture]\nreference_tone_hz = 4", []string{"line 2: capture.reference_tone_hz is 4 Hz; 20 to 20000 Hz, or 0 for unknown, is allowed"}},
		{"wiring", "[pickup]\nwiring = \"serial\"", []string{`line 2: pickup.wiring is "serial"; "parallel", "series", and mixes such as "2s2p"`}},
		{"wiring and discs", "[pickup]\ndiscs = 3\nwiring = \"2s2p\"", []string{`line 3: pickup.wiring is "2s2p", which takes 4 discs, and discs is 3; correct one of them`}},
		{"sweep", "[stimulus]\nlow_hz = 2000\nhigh_hz = 200", []string{"line 3: stimulus.high_hz is 200, not above low_hz, 2000"}},
		{"limit", "[limits]\nt60_ratio = 40", []string{"line 2: limits.t60_ratio is 40 of the others; 0 to 1 of the others is allowed"}},
		{"syntax", "name = \"x\"\n[pickup\ndiscs = 4", []string{"line 2: not TOML: "}},
		{"twice", "[pickup]\ndiscs = 4\ndiscs = 5", []string{"line 3: not TOML: key discs is already defined"}},
		{"several", "nmae = \"x\"\n[pickup]\ndics = 4\ndisc_nf = \"a\"", []string{`line 1: unknown key "nmae"`, `line 3: unknown key "dics"`, "line 4: pickup.disc_nf must be a number"}},
		{"several ranges", "[pickup]\ndiscs = 0\ncable_pf = -1\n[capture]\nchannel = -1", []string{"line 2: pickup.discs is 0; 1 to 64", "line 3: pickup.cable_pf is -1 pF", "line 5: capture.channel is -1"}},
	} {
		_, err := Read(folder(t, "tap-1.wav", "stage.toml="+tc.toml))
		wantFaults(t, tc.name, err, "wired"+string(filepath.Separator)+"stage.toml, ", tc.want)
	}
}

// wantFaults: as many lines as wanted, each starting so.
func wantFaults(t *testing.T, name string, err error, prefix string, want []string) {
	t.Helper()
	var fe *FileError
	if !errors.As(err, &fe) {
		t.Errorf("%s: error %v", name, err)
		return
	}
	got := strings.Split(err.Error(), "\n")
	if len(got) != len(want) {
		t.Errorf("%s: %q, want %q", name, got, want)
		return
	}
	for i := range got {
		if !strings.HasPrefix(got[i], prefix+want[i]) {
			t.Errorf("%s: %q, want %q", name, got[i], prefix+want[i])
		}
	}
}

func TestFaultsOfBothFilesAtOnce(t *testing.T) {
	_, err := Read(folder(t, "tap-1.wav", "../build.toml=nmae = \"x\"", "stage.toml=stge = \"x\""))
	for _, want := range []string{`build.toml, line 1: unknown key "nmae"`, `stage.toml, line 1: unknown key "stge"`} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not say %q", err, want)
		}
	}
	_, err = Read(folder(t, "tap-1.wav", "../build.toml=pickup.wiring = \"2s2p\"", "stage.toml=pickup.discs = 5"))
	if err == nil || !strings.Contains(err.Error(), "takes 4 discs, and discs is 5") {
		t.Errorf("the two files contradict each other: %v", err)
	}
}

func TestFilesThatAreNotText(t *testing.T) {
	for name, tc := range map[string]struct{ text, says string }{
		"UTF-16":        {"\xff\xfen\x00a\x00", "saved as UTF-16"},
		"Latin-1":       {"name = \"Gei\xdf\"", "not UTF-8"},
		"far too long":  {strings.Repeat("# long\n", maxTOMLBytes/6), "longer than 256 KiB"},
		"deeply nested": {"name = " + strings.Repeat("[", maxTOMLBytes-100), "not TOML"},
	} {
		_, err := Read(folder(t, "tap-1.wav", "stage.toml="+tc.text))
		if err == nil || !strings.Contains(err.Error(), tc.says) || len(err.Error()) > 300 {
			t.Errorf("%s: %.300v", name, err)
		}
	}
	st := read(t, "tap-1.wav", "stage.toml=\xef\xbb\xbfstage = \"glued\"\r\n[limits]\r\nbalance_db = 1\r\n")
	if st.Name != "glued" || st.Limit("balance_db") != 1 {
		t.Errorf("byte order mark and CRLF: %q, %g", st.Name, st.Limit("balance_db"))
	}
	dir := folder(t, "tap-1.wav")
	if err := os.Mkdir(filepath.Join(dir, "stage.toml"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(dir); err == nil || !strings.Contains(err.Error(), "not a plain file") {
		t.Errorf("folder in place of stage.toml: %v", err)
	}
}

// The table of keys and the structure that is decoded must not drift apart:
// each key alone, with a value of its kind, is read without fault.
func TestEveryKeyIsRead(t *testing.T) {
	values := map[kind]string{isText: `"parallel"`, isNumber: "50", isWhole: "3", isFlag: "true", isDate: "2026-03-14", isTexts: `["A3"]`, isString: `"A3"`}
	for _, k := range keys() {
		value := values[k.kind]
		if k.kind == isNumber && !(k.low <= 50 && 50 <= k.high) && k.path != "capture.mains_hz" {
			value = "0.5"
			if k.low > 0.5 {
				value = "440"
			}
			if k.high < 0.5 {
				value = "-20"
			}
		}
		doc := k.path + " = " + value
		if name, ok := strings.CutPrefix(k.path, "take."); ok {
			doc = "[[take]]\n" + name + " = " + value
		}
		var f facts
		if err := f.parse("stage.toml", []byte(doc)); err != nil {
			t.Errorf("%s: %v", doc, err)
		}
	}
}

func FuzzFacts(f *testing.F) {
	for _, seed := range []string{
		"", "name = \"x\"\n[pickup]\ndiscs = 4\n", "[[take]]\nfile = \"a\"\nstring = 2\n[[take]]\nstring = \"A3\"",
		"pickup = {discs = 4, wiring = \"2s2p\"}", "[limits]\nbalance_db = 3", "\"pickup.discs\" = 4", "date = 2026-03-14",
		"[a.b.c]\n\"\\u0041\" = [[1,2],{x=1}]", "\xef\xbb\xbf[instrument]\nstrings = ['A3']", "[take]\n[[take.x]]\n", "take = [{file=\"x\"}]",
		"[[take]]\n[take.sub]\nx=1", "a4_hz = 1e400", "notes = '''\n[pickup]\ndiscs = 3'''",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, doc []byte) {
		var got facts
		err := got.parse("stage.toml", doc)
		var fe *FileError
		if errors.As(err, &fe) {
			lines := strings.Count(string(doc), "\n") + 1
			for _, fault := range fe.Faults {
				if fault.Line < 0 || fault.Line > lines || fault.Text == "" {
					t.Errorf("fault %+v in %d lines", fault, lines)
				}
			}
		}
		if err != nil {
			return
		}
		if _, err := got.stage("dir"); err != nil {
			t.Errorf("checked facts make no stage: %v", err)
		}
		if faults := got.check(nil); len(faults) > 0 {
			t.Errorf("accepted with faults %v", faults)
		}
	})
}

func FuzzNames(f *testing.F) {
	for _, seed := range []string{"tap-3.wav", "pluck-E♭2 (2).wav", "quiet-hand.wav", "sweep-reference.wav", "tap", ".wav", "tone-99.wav", " tAp1", "ſweep-1.wav"} {
		f.Add(seed)
	}
	cello, err := Read(folder(f, celloTOML, "quiet.wav"))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, name string) {
		c, err := cello.parseName(name)
		if err == nil && (c.String < 0 || c.String > 4 || c.note != nil || !strings.HasPrefix(strings.ToLower(strings.NewReplacer("ſ", "s", "K", "k").Replace(strings.TrimSpace(name))), string(c.Test[:3]))) {
			t.Errorf("%q: %+v", name, c)
		}
	})
}
