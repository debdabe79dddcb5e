package main

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// What plan promises is what the comparison of two stages sees: normal taps
// and takes of the assumed spread, shifted by shownDB on one string.
func TestTapsShowWhatIsPromised(t *testing.T) {
	rng := rand.New(rand.NewPCG(20, 6))
	for _, tc := range []struct{ takes, taps, strings int }{{2, 6, 4}, {2, 12, 4}, {3, 6, 6}, {4, 10, 1}} {
		const runs = 1500
		seen, shift := 0, shownDB(tc.takes, tc.taps, tc.strings)
		for range runs {
			var sets [][][]float64
			for range 2 * tc.strings {
				sets = append(sets, takesOf(rng, tc.takes, tc.taps))
			}
			for _, take := range sets[1] {
				for i := range take {
					take[i] += shift
				}
			}
			if stats.ShiftGrouped(sets[0], sets[1], stats.GroupSpread(takeSpreadDB(), sets...)).P < 0.05 {
				seen++
			}
		}
		power := float64(seen) / runs
		t.Logf("%+v: %.2f dB seen in %.1f %% of runs", tc, shift, 100*power)
		if math.Abs(power-0.8) > 0.05 {
			t.Errorf("%+v: %.2f dB seen in %.1f %% of runs, promised 80 %%", tc, shift, 100*power)
		}
	}
}

func takesOf(rng *rand.Rand, takes, taps int) [][]float64 {
	out := make([][]float64, takes)
	for k := range out {
		centre := takeSpreadDB() * rng.NormFloat64()
		for range taps {
			out[k] = append(out[k], centre+tapSpreadDB*rng.NormFloat64())
		}
	}
	return out
}

func TestFewestTaps(t *testing.T) {
	for strings := 1; strings <= 12; strings++ {
		for _, changeDB := range []float64{1.5, 2, 3, 3.5, 6} {
			takes, taps, ok := tapsFor(changeDB, strings)
			if !ok {
				if finestDB(strings) <= changeDB {
					t.Errorf("%d strings: no plan for %g dB", strings, changeDB)
				}
				continue
			}
			if shownDB(takes, taps, strings) > changeDB {
				t.Errorf("%d strings: %d times %d taps do not show %g dB", strings, takes, taps, changeDB)
			}
			if taps > fewestTaps && shownDB(takes, taps-1, strings) <= changeDB {
				t.Errorf("%d strings: %d times %d taps are more than %g dB needs", strings, takes, taps, changeDB)
			}
		}
	}
	if _, _, ok := tapsFor(0.1, 4); ok {
		t.Error("0.1 dB by hand")
	}
}

// Every name in the checklist must be one that a stage folder understands, as
// the take it is listed for; the skeletons must be facts without fault.
func TestPlannedNamesAreUnderstood(t *testing.T) {
	for _, tuning := range []string{
		"A3,D3,G2,C2", "E4,B3,G3,D3,A2,E2", "A4,E4,C4,G4", "C2", "B♭3,F#2",
		"E4,E4,B3,B3,G4,G3,D4,D3,A3,A2,E3,E2",
	} {
		dir := t.TempDir()
		var out, errOut bytes.Buffer
		if status := run(t.Context(), []string{"plan", "--strings", tuning, "--out", dir, "--next", "potting"}, &out, &errOut); status != exitDone {
			t.Fatalf("%s: status %d, %s", tuning, status, &errOut)
		}
		folder := filepath.Join(dir, "wired")
		text, err := os.ReadFile(filepath.Join(folder, "plan.md"))
		if err != nil {
			t.Fatal(err)
		}
		want := namesIn(string(text))
		for _, name := range want {
			if err := os.WriteFile(filepath.Join(folder, name), nil, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		st, err := stage.Read(folder)
		if err != nil {
			t.Fatalf("%s: %v", tuning, err)
		}
		strings := strings.Count(tuning, ",") + 1
		if len(st.Problems) > 0 || len(st.Takes) != len(want) || len(want) < 2+strings*4 || len(st.Strings) != strings || st.NextStep != "potting" || st.Capture.ReferenceToneHz != 440 {
			t.Errorf("%s: %d takes of %d, problems %v", tuning, len(st.Takes), len(want), st.Problems)
		}
		for _, k := range st.Takes {
			if k.Test != stage.Quiet && k.String == 0 {
				t.Errorf("%s: %+v", tuning, k)
			}
		}
	}
}

// namesIn are the takes with a box to tick, but those of other folders.
func namesIn(text string) []string {
	var out []string
	for line := range strings.Lines(text) {
		if rest, ok := strings.CutPrefix(line, "- [ ] `"); ok {
			if name, _, ok := strings.Cut(rest, "`"); ok && strings.HasSuffix(name, ".wav") && !strings.Contains(name, "/") {
				out = append(out, name)
			}
		}
	}
	return out
}

// The limits of the skeleton, uncommented, are the defaults.
func TestSkeletonTellsTheLimits(t *testing.T) {
	notes, err := parseStrings("A3")
	if err != nil {
		t.Fatal(err)
	}
	d, err := planFlags{stage: "wired", next: "gluing", a4Hz: 440, resolveDB: 6}.data(notes)
	if err != nil {
		t.Fatal(err)
	}
	text, err := d.fill("build.toml")
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "wired")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for line := range strings.Lines(text) {
		if rest, ok := strings.CutPrefix(line, "# "); ok && strings.Contains(rest, " = ") {
			line = rest
		}
		b.WriteString(line)
	}
	for path, content := range map[string]string{filepath.Join(dir, "..", "build.toml"): b.String(), filepath.Join(dir, "tap-1.wav"): ""} {
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	st, err := stage.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range stage.Defaults() {
		if got := st.Limits[i]; got.Value != l.Value || !got.Given {
			t.Errorf("%s: %+v", l.Key, got)
		}
	}
	if len(st.Pickup.Assumed) != 0 {
		t.Errorf("keys missing from the skeleton: %v", st.Pickup.Assumed)
	}
}

// What a maker must be told, for one string as for twelve, within 80 columns.
func TestPlanTellsTheWholeProcedure(t *testing.T) {
	for _, tuning := range []string{"C2", "A3,D3,G2,C2", "E4,B3,G3,D3,A2,E2", "E4,E4,B3,B3,G4,G3,D4,D3,A3,A2,E3,E2"} {
		var out, errOut bytes.Buffer
		if status := run(t.Context(), []string{"plan", "--strings", tuning}, &out, &errOut); status != exitDone {
			t.Fatalf("%s: status %d, %s", tuning, status, &errOut)
		}
		text := strings.Join(strings.Fields(out.String()), " ")
		last := -1
		for _, want := range []string{ // in the order of the work
			"Phantom power off, input gain down", "Eye protection", "Never lift a protective earth", "noise gate", // connections and cautions
			"peaks between -20 and -10 dB", "check --watch", "`quiet.wav`", "`quiet-hand.wav`",
			"short takes a string", "light ball or an eraser fall from a fixed height", "then show a change of", "--resolve-db", "`tap-1-a.wav`", "`tap-1-b.wav`",
			"## 5. Plucks", "Strike it on your knee", "`tone-1.wav`", "`load-none/tone-1.wav`", "load capacitance", "fast epoxy heats up",
		} {
			at := strings.Index(text, want)
			if at <= last {
				t.Errorf("%s: %q is missing or out of order", tuning, want)
			}
			last = at
		}
		many := strings.Contains(tuning, ",")
		for _, word := range []string{"on every saddle", "Damp the other strings", "discs of some"} {
			if strings.Contains(text, word) != many {
				t.Errorf("%s: %q", tuning, word)
			}
		}
		for line := range strings.Lines(out.String()) {
			if len([]rune(line)) > 81 {
				t.Errorf("%s: longer than 80 columns: %s", tuning, line)
			}
		}
	}
}
