package pitch

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"saddlewise/fixtures/accuracy"
	"saddlewise/fixtures/notes"
)

// recordedOptions are the same for every recording: nobody's label is used.
var recordedOptions = Options{MinHz: 25, MaxHz: 4000}

// repeatedS is how long a recording must be before its loop to be judged
// alone; the loop's repeats are played on up to it.
const repeatedS = 0.5

func TestOtherPeoplesRecordings(t *testing.T) {
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
				note, err := lib.Note(row)
				if err != nil {
					t.Fatal(err)
				}
				p, err := Measure(played(note), note.RateHz, recordedOptions)
				name := fmt.Sprintf("%s %s %s (%s)", row.File, row.Wave, row.Note, row.Kind)
				if err != nil {
					t.Logf("%s: %v", name, err)
					continue
				}
				label = append(label, cents(p.F1Hz/row.LabelHz))
				measured = append(measured, cents(p.F1Hz/row.MeasuredHz))
				mark := ""
				if math.Abs(cents(p.F1Hz/row.MeasuredHz)) > math.Max(3, row.ToleranceCents) {
					mark = " ***"
				}
				t.Logf("%-50s %9.3f label %7.2f measured %7.2f (tol %.1f) sd %.2f glide %.1f from %.3f B %.2g/%.2g n %d snr %.0f%s", name, p.F1Hz, cents(p.F1Hz/row.LabelHz),
					cents(p.F1Hz/row.MeasuredHz), row.ToleranceCents, 1731*p.F1SDHz/p.F1Hz, p.GlideCents, p.SettledFromS, p.B, row.B, len(p.Partials), p.SNRDB, mark)
			}
			shares(t, "label", label)
			shares(t, "measured", measured)
		})
	}
}

// played is the natural part, or the natural part and the loop repeated.
func played(n notes.Note) []float64 {
	want := int(repeatedS * n.RateHz)
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

func shares(t *testing.T, what string, errs []float64) {
	abs := make([]float64, len(errs))
	for i, e := range errs {
		abs[i] = math.Abs(e)
	}
	line := ""
	for _, c := range []float64{5, 10, 20, 50} {
		n := 0
		for _, a := range abs {
			if a <= c {
				n++
			}
		}
		line += fmt.Sprintf("  %g c: %.1f %%", c, 100*float64(n)/float64(len(abs)))
	}
	t.Logf("%s: n=%d median %.2f%s", what, len(abs), accuracy.Quantile(abs, 0.5), line)
}
