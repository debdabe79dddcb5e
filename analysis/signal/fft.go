package signal

import (
	"gonum.org/v1/gonum/dsp/fourier"
)

// FFT transforms real sequences of one length and keeps its plan. Not safe
// for concurrent use: one for each goroutine.
type FFT struct {
	plan *fourier.FFT
}

// NewFFT plans transforms of n samples; FastLength gives good n.
func NewFFT(n int) *FFT { return &FFT{fourier.NewFFT(n)} }

// Len is the number of samples.
func (f *FFT) Len() int { return f.plan.Len() }

// Forward puts the n/2+1 unnormalised coefficients X[k] = sum x[i] exp(-2 pi j
// i k/n) of x into dst; a nil dst is allocated.
func (f *FFT) Forward(dst []complex128, x []float64) []complex128 {
	return f.plan.Coefficients(dst, x)
}

// Inverse undoes Forward, scaling included; a nil dst is allocated.
func (f *FFT) Inverse(dst []float64, coefficients []complex128) []float64 {
	dst = f.plan.Sequence(dst, coefficients)
	scale := 1 / float64(f.Len())
	for i := range dst {
		dst[i] *= scale
	}
	return dst
}

// FastLength is the least m >= n without prime factors above 5: other lengths
// cost up to a hundred times more.
func FastLength(n int) int {
	for m := max(n, 1); ; m++ {
		rest := m
		for _, p := range [...]int{2, 3, 5} {
			for rest%p == 0 {
				rest /= p
			}
		}
		if rest == 1 {
			return m
		}
	}
}
