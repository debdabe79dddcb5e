package analysis

import (
	"math"
	"testing"

	"saddlewise/analysis/noise"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// A hand on the ground changes hum and floor: neither the hum that plucks and
// tones are cleared of nor the floor behind signal-to-noise is taken from such
// a silence, wherever it stands among the takes.
func TestSilenceWithHandIsNoReference(t *testing.T) {
	quiet := func(hand bool, mainsHz, floorDBFS float64) measured {
		n := &noise.Noise{FloorDBFS: stats.Estimate{Median: floorDBFS}}
		if mainsHz > 0 {
			n.Hum = &noise.Hum{MainsHz: mainsHz}
		}
		return measured{at: stage.Take{Test: stage.Quiet, Hand: hand}, quiet: n}
	}
	for _, c := range []struct {
		name           string
		takes          []measured
		mains, floorDB float64 // 0: none known
	}{
		{"hand first", []measured{quiet(true, 60, -90), quiet(false, 50, -70)}, 50, -70},
		{"hand last", []measured{quiet(false, 50, -70), quiet(true, 60, -90)}, 50, -70},
		{"hand only", []measured{quiet(true, 60, -90)}, 0, 0},
		{"hum with the hand only", []measured{quiet(true, 60, -60), quiet(false, 0, -80)}, 0, -80},
		{"hum in the second silence", []measured{quiet(false, 0, -80), quiet(false, 50, -70)}, 50, -80},
	} {
		var at []stage.Take
		for _, m := range c.takes {
			at = append(at, m.at)
		}
		if got := lowest(humOf(at, c.takes)); got != c.mains {
			t.Errorf("%s: mains of %g Hz, want %g", c.name, got, c.mains)
		}
		if got := noiseOf(c.takes).levelDBFS(measured{}); got != c.floorDB && !(c.floorDB == 0 && math.IsNaN(got)) {
			t.Errorf("%s: floor of %g dBFS, want %g", c.name, got, c.floorDB)
		}
	}
}
