package signal

import (
	"fmt"
	"slices"
)

// Welch averages periodograms of windowed segments that overlap by half
// (Welch, IEEE Trans. Audio Electroacoustics 15, 70-73, 1967). Memory does
// not grow with the signal. Not safe for concurrent use.
type Welch struct {
	// KeepMean leaves each segment's mean in; else it is removed.
	KeepMean bool
	// Robust takes each bin's median over the segments instead of their mean
	// (less its bias: Allen et al., Phys. Rev. D 85, 122006, 2012, appendix B),
	// which a few loud segments do not move. Of more than robustKept segments
	// every second, fourth, ... is used.
	Robust bool

	rateHz   float64
	window   Window
	plan     *FFT
	segment  []float64
	held     int
	work     []float64
	spectrum []complex128
	sum      []float64
	seen     int
	count    int
	each     func(index int, periodogram []float64) bool
	kept     [][]float64 // for Robust
	stride   int
}

const robustKept = 64

// NewWelch averages segments of the length of window. each, when not nil, sees
// every segment's periodogram (density; valid during the call) with the
// segment's index, which starts index*(n - n/2) samples into the signal, and
// says whether to count it.
func NewWelch(rateHz float64, w Window, each func(index int, periodogram []float64) bool) *Welch {
	n := len(w.Coefficients)
	return &Welch{
		rateHz: rateHz, window: w, plan: NewFFT(n), each: each, stride: 1,
		segment: make([]float64, n), work: make([]float64, n), sum: make([]float64, n/2+1),
	}
}

// Add takes the next samples of the signal.
func (w *Welch) Add(x []float64) {
	n := len(w.segment)
	for len(x) > 0 {
		took := copy(w.segment[w.held:], x)
		w.held += took
		x = x[took:]
		if w.held == n {
			w.take(w.periodogram())
			copy(w.segment, w.segment[n-n/2:])
			w.held = n / 2
		}
	}
}

// periodogram is the one-sided density of the segment.
func (w *Welch) periodogram() []float64 {
	n := len(w.segment)
	offset := 0.0
	if !w.KeepMean {
		offset = Sum(w.segment) / float64(len(w.segment))
	}
	for i, c := range w.window.Coefficients {
		w.work[i] = (w.segment[i] - offset) * c
	}
	w.spectrum = w.plan.Forward(w.spectrum, w.work)
	density := w.work[:n/2+1]
	scale := 2 / (w.rateHz * float64(n) * w.window.PowerGain)
	for k, c := range w.spectrum {
		density[k] = scale * (real(c)*real(c) + imag(c)*imag(c))
	}
	density[0] /= 2
	if n%2 == 0 {
		density[n/2] /= 2
	}
	return density
}

func (w *Welch) take(density []float64) {
	w.seen++
	if w.each != nil && !w.each(w.seen-1, density) {
		return
	}
	if w.Robust {
		w.keep(density)
	}
	for k, v := range density {
		w.sum[k] += v
	}
	w.count++
}

// keep keeps every stride-th periodogram, and half of them when full.
func (w *Welch) keep(density []float64) {
	if w.count%w.stride != 0 {
		return
	}
	if len(w.kept) == robustKept {
		for i := range robustKept / 2 {
			w.kept[i] = w.kept[2*i]
		}
		w.kept = w.kept[:robustKept/2]
		w.stride *= 2
	}
	w.kept = append(w.kept, slices.Clone(density))
}

// PSD is the average so far.
func (w *Welch) PSD() (PSD, error) {
	if w.count == 0 {
		return PSD{}, fmt.Errorf("spectrum: no segment of %d samples to average", len(w.segment))
	}
	p := PSD{StepHz: w.rateHz / float64(len(w.segment)), Power: make([]float64, len(w.sum)), Segments: w.count}
	if w.Robust {
		w.medianInto(p.Power)
		return p, nil
	}
	for k, v := range w.sum {
		p.Power[k] = v / float64(w.count)
	}
	return p, nil
}

func (w *Welch) medianInto(power []float64) {
	column := make([]float64, len(w.kept))
	bias := medianBias(len(column))
	for k := range power {
		for i, d := range w.kept {
			column[i] = d[k]
		}
		slices.Sort(column)
		n := len(column)
		power[k] = (column[(n-1)/2] + column[n/2]) / 2 / bias
	}
}

// medianBias is the mean of the median of n exponential values of mean 1, for
// odd n; it tends to ln 2.
func medianBias(n int) float64 {
	bias := 1.0
	for k := 2; k < n; k += 2 {
		bias += 1/float64(k+1) - 1/float64(k)
	}
	return bias
}
