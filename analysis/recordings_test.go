package analysis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
	"saddlewise/fixtures/notes"
)

// leastNoteS is the shortest natural part that a take is made of.
const leastNoteS = 0.3

// TestStagesOfRealRecordings analyses stages made of single notes that other
// people recorded (Debian package freepats, GPL, read from the package), as
// files, and compares the pitch with the makers' labels and with the measured
// values of testdata/real_recordings.csv.
func TestStagesOfRealRecordings(t *testing.T) {
	lib := notes.OpenLibrary()
	lib.Need(t, "freepats")
	rows, err := notes.ReadTable(filepath.Join("..", "testdata", "real_recordings.csv"))
	if err != nil {
		t.Fatal(err)
	}
	var fromLabel, fromMeasured []float64
	for _, group := range stagesOf(rows) {
		label, measured := analyseNotes(t, lib, group)
		fromLabel, fromMeasured = append(fromLabel, label...), append(fromMeasured, measured...)
	}
	if len(fromLabel) < 60 {
		t.Errorf("only %d notes were compared", len(fromLabel))
	}
	row := accuracy.Row{Measure: "pitch of whole stages, real recordings", Unit: "cents",
		Range: "single plucked notes of freepats, natural part", Bound: "median 2 cents", Source: "testdata/real_recordings.csv, measured values"}
	if got := accuracy.Report(t, row, fromMeasured); got.Median > 2 {
		t.Errorf("median %g cents from the measured value, want 2", got.Median)
	}
	row.Measure, row.Bound, row.Source = "pitch of whole stages, makers' labels", "all within 50 cents", "labels of the recordings' makers"
	if got := accuracy.Report(t, row, fromLabel); got.Worst > 50 {
		t.Errorf("worst %g cents from the label, want 50", got.Worst)
	}
}

// stagesOf groups the single notes of one instrument into stages of at most
// twelve strings.
func stagesOf(rows []notes.Row) [][]notes.Row {
	byInstrument := map[string][]notes.Row{}
	var order []string
	for _, r := range rows {
		if r.Package != "freepats" || r.Kind != "single" || r.NaturalS < leastNoteS {
			continue
		}
		if byInstrument[r.File] == nil {
			order = append(order, r.File)
		}
		byInstrument[r.File] = append(byInstrument[r.File], r)
	}
	var out [][]notes.Row
	for _, name := range order {
		for part := range slices.Chunk(byInstrument[name], 12) {
			slices.SortFunc(part, func(a, b notes.Row) int { return cmp.Compare(b.LabelHz, a.LabelHz) })
			out = append(out, part)
		}
	}
	return out
}

func analyseNotes(t *testing.T, lib *notes.Library, group []notes.Row) (fromLabel, fromMeasured []float64) {
	t.Helper()
	dir := t.TempDir()
	var tuning []string
	for i, row := range group {
		note, err := lib.Note(row)
		if err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(uint64(i), 5))
		path := filepath.Join(dir, fmt.Sprintf("pluck-%d.wav", i+1))
		rate := int(math.Round(row.RateHz))
		if err := fixtures.WriteWAV(path, fixtures.Quantise(takeOf(note, row, rng), 24, rng), rate, 24, 1); err != nil {
			t.Fatal(err)
		}
		tuning = append(tuning, fmt.Sprintf("%q", row.Note))
	}
	writeFile(t, dir, "stage.toml", "[instrument]\nstrings = ["+strings.Join(tuning, ", ")+"]\n")
	r, err := Analyze(context.Background(), dir, Options{Tool: "test"})
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range group {
		name := fmt.Sprintf("%s wave %s (%s)", row.File, row.Wave, row.Note)
		p := r.Strings[i].Pluck
		if p == nil || !p.F1Hz.Known() {
			t.Errorf("%s: no pitch: %+v", name, r.Problems)
			continue
		}
		got := p.F1Hz.Estimate
		label, measured := 1200*math.Log2(got.Median/row.LabelHz), 1200*math.Log2(got.Median/row.MeasuredHz)
		t.Logf("%-44s %8.2f Hz  label %+6.1f  measured %+6.2f cents  n %d", name, got.Median, label, measured, got.N)
		fromLabel, fromMeasured = append(fromLabel, label), append(fromMeasured, measured)
	}
	return fromLabel, fromMeasured
}

// takeOf repeats the natural part of a note three times, faded at its cut,
// with low noise between.
func takeOf(note notes.Note, row notes.Row, rng *rand.Rand) []float64 {
	rate := note.RateHz
	x := note.X[:min(len(note.X), int(row.NaturalS*rate))]
	gap := int(0.7 * rate)
	out := fixtures.White(3*(gap+len(x))+gap, 3e-5, rng)
	fade := min(len(x)/2, int(0.02*rate))
	for n := range 3 {
		at := gap + n*(gap+len(x))
		for i, v := range x {
			if left := len(x) - i; left < fade {
				v *= float64(left) / float64(fade)
			}
			out[at+i] += 0.5 * v
		}
	}
	return out
}
