package signal

import (
	"math"
)

// HighPass is a first-order RC high-pass, exact for an input that runs
// straight from sample to sample: what a source of capacitance C does into a
// resistance R, corner 1/(2 pi R C). It keeps its state between calls.
type HighPass struct {
	keep, gain   float64
	before, last float64
}

// NewHighPass is at rest before the first sample.
func NewHighPass(rateHz, cornerHz float64) *HighPass {
	x := 2 * math.Pi * cornerHz / rateHz
	h := &HighPass{keep: math.Exp(-x), gain: 1}
	if x > 0 {
		h.gain = -math.Expm1(-x) / x
	}
	return h
}

// Filter filters x in place.
func (h *HighPass) Filter(x []float64) {
	for i, v := range x {
		h.last = h.keep*h.last + h.gain*(v-h.before)
		h.before = v
		x[i] = h.last
	}
}
