package response

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

const (
	clockLowHz   = 300.0
	clockPreS    = 0.025
	clockPostS   = 0.08
	clockRounds  = 3
	mostPPM      = 400.0
	minimumBands = 8
)

// clockPPM is by how much the recorder's clock still runs ahead of the
// player's. A stretched sweep meets the reference later the longer it lasts,
// so that the delay grows by L for every e in frequency. The response's own
// delay is taken off first as far as its magnitude tells it (the delay of the
// minimum-phase response of that magnitude, Oppenheim & Schafer, Discrete-Time
// Signal Processing, section on the complex cepstrum); the rest is a line.
func (im *impulse) clockPPM(atS float64) (ppm float64, ok bool) {
	s := im.cut(atS, clockPreS, clockPostS).transform(im.rateHz)
	own := minimumDelay(s, im.ref)
	low, high := im.ref.validHz()
	var logHz, delay []float64
	for _, b := range signal.FractionalOctaves(6, math.Max(clockLowHz, 2*low), 0.9*high) {
		logHz = append(logHz, math.Log(b.MidHz))
		delay = append(delay, bandDelay(s, own, b)/im.rateHz)
	}
	if len(logHz) < minimumBands {
		return 0, false
	}
	slope, _ := stats.TheilSen(logHz, delay)
	return 1e6 * slope / im.ref.rateS, true
}

// bandDelay is the mean delay in samples over a band, less the response's
// own, weighted by energy.
func bandDelay(s spectrum, own []float64, b signal.Band) float64 {
	sum, weight := 0.0, 0.0
	for k := int(math.Ceil(b.LowHz / s.step)); k < len(s.c) && float64(k)*s.step < b.HighHz; k++ {
		p := power(s.c[k])
		sum += delayProduct(s.c[k], s.moment[k]) - p*own[k]
		weight += p
	}
	return sum / weight
}

// minimumDelay is the group delay in samples of the minimum-phase response
// with the magnitude of s: with the folded cepstrum c[n] of its logarithm, the
// sum of n c[n] cos(n w). Outside the valid band the magnitude is held.
func minimumDelay(s spectrum, r *reference) []float64 {
	n := 2 * (len(s.c) - 1)
	fft := fourier.NewFFT(n)
	log := make([]complex128, len(s.c))
	low, high := r.validHz()
	first, last := int(low/s.step)+1, int(high/s.step)
	for k := range log {
		p := power(s.c[min(max(k, first), last)])
		log[k] = complex(0.5*math.Log(math.Max(p, math.SmallestNonzeroFloat64))/float64(n), 0)
	}
	cepstrum := fft.Sequence(nil, log)
	for i := range cepstrum {
		if i < n/2 {
			cepstrum[i] *= 2 * float64(i)
		} else {
			cepstrum[i] = 0
		}
	}
	delay := make([]float64, len(s.c))
	for k, c := range fft.Coefficients(nil, cepstrum) {
		delay[k] = real(c)
	}
	return delay
}
