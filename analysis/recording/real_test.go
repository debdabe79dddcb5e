package recording

import (
	"fmt"
	"math"
	"testing"

	"saddlewise/fixtures/notes"
)

// genuineClicks are the two notes of freepats that an editor spoilt by one
// wrong sample just ahead of the loop: 1984, 3072, 2112 in the one, -1479,
// -338, -1110 in the other.
var genuineClicks = map[string]int{"015_Dulcimer.pat 1": 29267, "045_Pizzicato_Strings.pat 1": 16307}

// Notes that other people recorded, plucked, struck and bowed, hold no other
// clicks, no drop-outs and no gates.
func TestRealNotesAreWhole(t *testing.T) {
	t.Parallel()
	rows, err := notes.ReadTable("../../testdata/real_recordings.csv")
	if err != nil {
		t.Fatal(err)
	}
	for _, pkg := range []string{"freepats", "denemo-data"} {
		t.Run(pkg, func(t *testing.T) {
			lib := notes.OpenLibrary()
			lib.Need(t, pkg)
			for _, row := range rows {
				if row.Package == pkg {
					checkNote(t, lib, row)
				}
			}
		})
	}
}

func checkNote(t *testing.T, lib *notes.Library, row notes.Row) {
	t.Helper()
	name := fmt.Sprintf("%s %v", row.File, row.Wave)
	note, err := lib.Note(row)
	if err != nil {
		t.Errorf("%s: %v", name, err)
		return
	}
	rate := int(note.RateHz)
	f := inspect(t, file16(rate, 1, note.Natural())).Channels[0]
	at, spoilt := genuineClicks[name]
	switch {
	case !spoilt && f.Steps > 0, f.AbruptZeros > 0, f.FlatTops > 0:
		t.Errorf("%s: steps at %v, %d abrupt zeros, %d flat tops", name, f.StepsAtS, f.AbruptZeros, f.FlatTops)
	case spoilt && (f.Steps != 1 || math.Abs(f.StepsAtS[0]*float64(rate)-float64(at)) > 3):
		t.Errorf("%s: steps at %v, want one at sample %d", name, f.StepsAtS, at)
	}
	if f.ClipRuns > 0 {
		t.Logf("%s: %d clipped runs at %.2f dB, peak %.2f", name, f.ClipRuns, f.ClipLevelDB, f.PeakDB)
	}
}
