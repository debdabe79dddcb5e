package signal

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// PSD is a one-sided power spectral density: its sum times StepHz is the mean
// square of the signal about the means of its segments.
type PSD struct {
	StepHz   float64   // distance of the bins
	Power    []float64 // full scale squared per Hz, from 0 Hz to half the rate
	Segments int
}

// Hz is the frequency of bin k.
func (p PSD) Hz(k int) float64 { return float64(k) * p.StepHz }

// Band integrates the density from low to high Hz, sharing out the bins that
// the edges cut.
func (p PSD) Band(lowHz, highHz float64) float64 {
	sum := 0.0
	first := max(0, int(math.Floor(lowHz/p.StepHz+0.5)))
	for k := first; k < len(p.Power); k++ {
		left, right := (float64(k)-0.5)*p.StepHz, (float64(k)+0.5)*p.StepHz
		if left >= highHz {
			break
		}
		if width := math.Min(right, highHz) - math.Max(left, lowHz); width > 0 {
			sum += p.Power[k] * width
		}
	}
	return sum
}

// Weighted integrates the density from low to high Hz after weighting each
// bin by a level in dB.
func (p PSD) Weighted(lowHz, highHz float64, weightDB func(hz float64) float64) float64 {
	q := PSD{StepHz: p.StepHz, Power: make([]float64, len(p.Power))}
	for k, v := range p.Power {
		if hz := p.Hz(k); hz > 0 {
			q.Power[k] = v * math.Pow(10, weightDB(hz)/10)
		}
	}
	return q.Band(lowHz, highHz)
}

// Welch averages periodograms of windowed segments that overlap by half
// (Welch, IEEE Trans. Audio Electroacoustics 15, 70-73, 1967), the mean of
// each segment removed. Memory is one segment. Not safe for concurrent use.
type Welch struct {
	rateHz   float64
	window   Window
	plan     *fourier.FFT
	segment  []float64
	held     int
	work     []float64
	spectrum []complex128
	sum      []float64
	count    int
	each     func(index int, periodogram []float64) bool
}

// NewWelch averages segments of length of window. each, when not nil, sees
// every segment's periodogram (density; valid during the call) and says
// whether to count it.
func NewWelch(rateHz float64, w Window, each func(index int, periodogram []float64) bool) *Welch {
	n := len(w.Coefficients)
	return &Welch{
		rateHz: rateHz, window: w, plan: fourier.NewFFT(n), each: each,
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
			w.transform()
			copy(w.segment, w.segment[n-n/2:])
			w.held = n / 2
		}
	}
}

func (w *Welch) transform() {
	n := len(w.segment)
	mean := 0.0
	for _, v := range w.segment {
		mean += v
	}
	mean /= float64(n)
	for i, c := range w.window.Coefficients {
		w.work[i] = (w.segment[i] - mean) * c
	}
	w.spectrum = w.plan.Coefficients(w.spectrum, w.work)
	density := w.work[:n/2+1]
	scale := 2 / (w.rateHz * float64(n) * w.window.PowerGain)
	for k, c := range w.spectrum {
		density[k] = scale * (real(c)*real(c) + imag(c)*imag(c))
	}
	density[0] /= 2
	if n%2 == 0 {
		density[n/2] /= 2
	}
	index := w.count
	if w.each != nil && !w.each(index, density) {
		return
	}
	for k, v := range density {
		w.sum[k] += v
	}
	w.count++
}

// PSD is the average so far.
func (w *Welch) PSD() (PSD, error) {
	if w.count == 0 {
		return PSD{}, fmt.Errorf("spectrum: %d samples are fewer than one segment of %d", w.held, len(w.segment))
	}
	p := PSD{StepHz: w.rateHz / float64(len(w.segment)), Power: make([]float64, len(w.sum)), Segments: w.count}
	for k, v := range w.sum {
		p.Power[k] = v / float64(w.count)
	}
	return p, nil
}
