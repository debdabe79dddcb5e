package recording

import (
	"testing"

	"saddlewise/fixtures/notes"
)

// Notes that other people recorded, plucked, struck and bowed, hold no
// clicks, drop-outs or gates. Their editors normalised them, and some clip.
func TestRealNotesAreWhole(t *testing.T) {
	rows, err := notes.ReadTable("../../testdata/real_recordings.csv")
	if err != nil {
		t.Fatal(err)
	}
	for _, pkg := range []string{"freepats", "denemo-data"} {
		t.Run(pkg, func(t *testing.T) {
			lib := notes.OpenLibrary()
			lib.Need(t, pkg)
			steps, zeros, flats, clips, n := 0, 0, 0, 0, 0
			for _, row := range rows {
				if row.Package != pkg {
					continue
				}
				note, err := lib.Note(row)
				if err != nil {
					t.Error(err)
					continue
				}
				f := inspect(t, file16(int(note.RateHz), 1, note.Natural())).Channels[0]
				n++
				if f.Steps > 0 {
					steps++
					t.Logf("%s %s (%g Hz rate): %d steps at %.4f s", row.File, row.Wave, note.RateHz, f.Steps, f.StepsAtS)
				}
				if f.AbruptZeros > 0 {
					zeros++
				}
				if f.ClipRuns > 0 {
					clips++
					t.Logf("%s %s: %d clip runs at %.2f dB, peak %.2f", row.File, row.Wave, f.ClipRuns, f.ClipLevelDB, f.PeakDB)
				}
				if f.FlatTops > 0 {
					flats++
					t.Logf("%s %s: %d flat tops at %.2f dB", row.File, row.Wave, f.FlatTops, f.FlatTopDB)
				}
			}
			t.Logf("%d notes: %d with steps, %d with zeros, %d with clipped and %d with flat tops", n, steps, zeros, clips, flats)
			if steps > n/50 || zeros > n/50 {
				t.Errorf("%d of %d notes have steps, %d zeros", steps, n, zeros)
			}
		})
	}
}
