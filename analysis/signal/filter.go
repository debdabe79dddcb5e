package signal

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/transform"
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

// RemoveMean takes the mean out of x in place and returns it.
func RemoveMean(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	m := mean(x)
	for i := range x {
		x[i] -= m
	}
	return m
}

// Envelope is the magnitude of the analytic signal of x (Gabor 1946), by FFT
// over a length padded with zeros: good away from the ends of a segment whose
// ends do not meet.
func Envelope(x []float64) []float64 {
	if len(x) == 0 {
		return nil
	}
	padded := make([]float64, FastLength(len(x)))
	copy(padded, x)
	z := transform.NewHilbert(len(padded)).AnalyticSignal(nil, padded)
	out := make([]float64, len(x))
	for i := range out {
		out[i] = cmplx.Abs(z[i])
	}
	return out
}
