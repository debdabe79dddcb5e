package pitch

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"saddlewise/fixtures/accuracy"
	"saddlewise/fixtures/notes"
)

// recordedOptions are the same for every recording: no label enters.
var recordedOptions = Options{MinHz: 25, MaxHz: 4000}

// judgedS of a recording is enough. Where the natural part before the loop is
// shorter, the loop is played on up to it, as the file's maker meant it to be;
// pitch, unlike decay, is the same in it.
const judgedS = 0.5

// The label is what the file's maker wrote, independent truth within about 50
// cents. The measured value is that of two other label-blind methods (normalised
// square difference of the waveform; comb with stiffness).
func TestOtherPeoplesRecordings(t *testing.T) {
	t.Parallel()
	rows, err := notes.ReadTable("../../testdata/real_recordings.csv")
	if err != nil {
		t.Fatal(err)
	}
	for _, pkg := range []string{"freepats", "denemo-data"} {
		t.Run(pkg, func(t *testing.T) {
			lib := notes.OpenLibrary()
			lib.Need(t, pkg)
			var label, measured []float64
			for _, row := range rows {
				if row.Package != pkg {
					continue
				}
				p, ok := judge(t, lib, row)
				if !ok {
					continue
				}
				label = append(label, cents(p.F1Hz/row.LabelHz))
				measured = append(measured, cents(p.F1Hz/row.MeasuredHz))
			}
			reportRecordings(t, pkg, label, measured)
		})
	}
}

// judge measures one recording and says why where it differs from the table.
func judge(t *testing.T, lib *notes.Library, row notes.Row) (Pitch, bool) {
	t.Helper()
	n, err := lib.Note(row)
	if err != nil {
		t.Error(err)
		return Pitch{}, false
	}
	name := fmt.Sprintf("%s %s, %s %s", row.File, row.Wave, row.Kind, row.Note)
	p, err := Measure(played(n), n.RateHz, recordedOptions)
	if err != nil {
		t.Errorf("%s: %v", name, err)
		return Pitch{}, false
	}
	fromLabel, fromTable := cents(p.F1Hz/row.LabelHz), cents(p.F1Hz/row.MeasuredHz)
	t.Logf("%-45s %9.3f Hz, from label %6.2f, from table %6.2f of %4.1f, standard error %.2f cents",
		name, p.F1Hz, fromLabel, fromTable, row.ToleranceCents, sdCents(p))
	if math.Abs(fromLabel) > 50 {
		t.Errorf("%s: %.1f cents from its label", name, fromLabel)
	}
	if math.Abs(fromTable) > math.Max(5, row.ToleranceCents) {
		t.Logf("    outlier: %s", reason(row, p, fromLabel, fromTable))
	}
	return p, true
}

func reason(row notes.Row, p Pitch, fromLabel, fromTable float64) string {
	switch {
	case row.Kind == "ensemble":
		return "several players, no one pitch"
	case row.Kind == "courses":
		return "double strings, the table reads their middle"
	case p.GlideCents > math.Abs(fromTable)/2:
		return fmt.Sprintf("pitch glides by %.1f cents: here it is read from %.2f s on", p.GlideCents, p.SettledFromS)
	case math.Abs(fromLabel) < math.Abs(fromTable)/4:
		return "agrees with the label, not with the table"
	case sdCents(p) > 1:
		return fmt.Sprintf("partials scatter about the string: standard error %.1f cents", sdCents(p))
	}
	return "not known"
}

// played is the natural part, with the loop repeated where that is too short.
func played(n notes.Note) []float64 {
	want := int(judgedS * n.RateHz)
	if n.LoopStart >= want || n.LoopEnd <= n.LoopStart {
		return n.Natural()
	}
	x := slices.Clone(n.X[:n.LoopEnd])
	if len(x) >= want {
		return x
	}
	for len(x) < want {
		x = append(x, n.X[n.LoopStart:n.LoopEnd]...)
	}
	return x[:want]
}

func reportRecordings(t *testing.T, pkg string, label, measured []float64) {
	t.Helper()
	accuracy.Report(t, accuracy.Row{Measure: "fundamental of recordings, from the label", Range: pkg, Unit: "cents",
		Bound: "all within 50", Source: "pitch written by the recordings' makers" + shares(label)}, label)
	row := accuracy.Report(t, accuracy.Row{Measure: "fundamental of recordings, from the table", Range: pkg, Unit: "cents",
		Bound: "median 2", Source: "two other label-blind methods" + shares(measured)}, measured)
	t.Logf("within:%s of the label;%s of the table", shares(label), shares(measured))
	if row.Median > 2 {
		t.Errorf("median %.2f cents from the measured values", row.Median)
	}
}

// shares is the part of errors within some limits.
func shares(errs []float64) string {
	out := ""
	for _, limit := range []float64{5, 10, 20, 50} {
		n := 0
		for _, e := range errs {
			if math.Abs(e) <= limit {
				n++
			}
		}
		out += fmt.Sprintf(" %.1f %% in %g cents", 100*float64(n)/float64(len(errs)), limit)
	}
	return out
}
