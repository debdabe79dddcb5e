package event

import "math"

// A disc whose lead is open still gives a little: its saddle's taps reach the
// other discs through the bridge, weaker, later and duller. One jack shows
// neither the delay nor whose disc it was, so only the other strings' taps can
// tell. Common practice, no source.
const (
	bridgeDB     = 8.0  // weaker than the others' median and slower: through the bridge
	bridgeSlower = 1.3  // times the others' median rise
	farBelowDB   = 15.0 // weaker still: no disc of its own, whatever the rise
)

// ThroughBridge tells for each string whether its taps are heard only through
// the bridge, so that their first motion says nothing of its own disc. It takes
// the strings' median tap levels (dBFS) and first-motion rises (ms); NaN where
// one is not known. A weak and dull bond may look the same: its polarity
// cannot be told either. With one string nothing can be told.
func ThroughBridge(levelDBFS, riseMS []float64) []bool {
	out := make([]bool, len(levelDBFS))
	for i, level := range levelDBFS {
		below := medianOthers(levelDBFS, i) - level
		slower := math.NaN()
		if i < len(riseMS) {
			slower = riseMS[i] / medianOthers(riseMS, i)
		}
		out[i] = below >= farBelowDB || below >= bridgeDB && slower >= bridgeSlower
	}
	return out
}

// medianOthers is the median of all known values but the i-th; NaN when there
// is none.
func medianOthers(values []float64, i int) float64 {
	var others []float64
	for j, v := range values {
		if j != i && !math.IsNaN(v) {
			others = append(others, v)
		}
	}
	if len(others) == 0 {
		return math.NaN()
	}
	return middle(others)
}
