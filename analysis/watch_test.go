package analysis

import (
	"slices"
	"testing"
	"time"
)

// A take lands once it has come to rest, again when it is made anew, and
// never while it grows or when it was there before.
func TestRipe(t *testing.T) {
	at := func(bytes int64, second int) footprint {
		return footprint{bytes, time.Date(2026, 3, 2, 10, 0, second, 0, time.UTC)}
	}
	old, early, grown, anew := at(9, 0), at(1, 1), at(2, 2), at(2, 3)
	known := map[string]footprint{"tap-1.wav": old}
	waiting := map[string]rest{}
	for i, step := range []struct {
		tap2 footprint
		want []string
	}{
		{early, nil}, {early, nil}, {grown, nil}, {grown, nil}, {grown, nil},
		{grown, []string{"tap-2.wav"}}, {grown, nil}, {grown, nil}, {grown, nil}, {grown, nil}, {grown, nil},
		{anew, nil}, {anew, nil}, {anew, nil}, {anew, []string{"tap-2.wav"}}, {anew, nil},
	} {
		seen := map[string]footprint{"tap-1.wav": old, "tap-2.wav": step.tap2}
		if got := ripe(seen, known, waiting); !slices.Equal(got, step.want) {
			t.Errorf("look %d: got %v, want %v", i, got, step.want)
		}
	}
	both := map[string]footprint{"tap-4.wav": early, "tap-3.wav": early}
	for range restLooks {
		ripe(both, known, waiting)
	}
	if got := ripe(both, known, waiting); !slices.Equal(got, []string{"tap-3.wav", "tap-4.wav"}) {
		t.Errorf("two at once: got %v", got)
	}
}
