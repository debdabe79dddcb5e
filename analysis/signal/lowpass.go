package signal

import (
	"math"
	"math/cmplx"
)

// lowPass is a linear-phase low-pass of odd length (windowed sine cardinal,
// Kaiser's window and his length rule, 1974), gain 1 at 0 Hz: flat to passHz
// within the stop-band's own ripple, down by stopDB from stopHz on.
func lowPass(rateHz, passHz, stopHz, stopDB float64) []float64 {
	width := 2 * math.Pi * (stopHz - passHz) / rateHz
	half := int(math.Ceil((stopDB-7.95)/(2.285*width)/2)) + 1
	beta := 0.1102 * (stopDB - 8.7) // for 50 dB and more
	cut := (passHz + stopHz) / rateHz
	h := make([]float64, 2*half+1)
	sum := 0.0
	for i := range h {
		x := float64(i - half)
		edge := x / float64(half+1)
		h[i] = sinc(cut*x) * bessel(beta*math.Sqrt(1-edge*edge))
		sum += h[i]
	}
	for i := range h {
		h[i] /= sum
	}
	return h
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel is the modified Bessel function I0.
func bessel(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}

// Decimate lowers the rate of x by factor: output i lies at sample i*factor
// of x, no delay. Up to 0.4 of the new rate the gain is 1 within 0.0002 dB,
// aliases of what lies above 0.6 of it are 100 dB down. Beyond its ends x
// counts as zero, so that the first and last 16 outputs are not settled.
func Decimate(x []float64, factor int) []float64 {
	if factor <= 1 {
		return append([]float64(nil), x...)
	}
	h := lowPass(float64(factor), 0.4, 0.6, 100)
	half := len(h) / 2
	out := make([]float64, (len(x)+factor-1)/factor)
	for i := range out {
		taps, part := overlap(h, x, i*factor-half)
		sum := 0.0
		for k, v := range part {
			sum += taps[k] * v
		}
		out[i] = sum
	}
	return out
}

// overlap is where taps that begin at index first of x lie over x.
func overlap[T float64 | complex128](taps []T, x []float64, first int) ([]T, []float64) {
	from, to := max(0, -first), min(len(taps), len(x)-first)
	if from >= to {
		return nil, nil
	}
	return taps[from:to], x[first+from : first+to]
}

// Baseband is the complex envelope of a band: a line A cos(2 pi f t + phi) in
// it gives A exp(j (2 pi (f - CentreHz) t + phi)), t = 0 at the first sample
// of what it was made from.
type Baseband struct {
	Z        []complex128
	RateHz   float64 // of Z
	CentreHz float64
	EdgeS    float64 // at either end, what the record's end still reaches
}

// Heterodyne shifts the band within halfBandHz of centreHz to 0 Hz and thins
// it out. The band is flat within 0.003 dB; from twice halfBandHz off the
// centre on all is 80 dB down, the mirror image of the line too when
// centreHz is at least halfBandHz. No delay.
func Heterodyne(x []float64, rateHz, centreHz, halfBandHz float64) Baseband {
	step := max(1, int(rateHz/(4*halfBandHz)))
	h := []float64{1}
	if 2*halfBandHz < rateHz/2 {
		h = lowPass(rateHz, halfBandHz, 2*halfBandHz, 80)
	}
	half := len(h) / 2
	b := Baseband{
		Z: make([]complex128, (len(x)+step-1)/step), RateHz: rateHz / float64(step),
		CentreHz: centreHz, EdgeS: float64(half) / rateHz,
	}
	// The carrier lies in the taps, so that each output costs one pass of them.
	taps := make([]complex128, len(h))
	for k, v := range h {
		taps[k] = complex(2*v, 0) * phasor(-centreHz, rateHz, k-half)
	}
	for i := range b.Z {
		here, part := overlap(taps, x, i*step-half)
		var re, im float64
		for k, v := range part {
			re += real(here[k]) * v
			im += imag(here[k]) * v
		}
		b.Z[i] = complex(re, im) * phasor(-centreHz, rateHz, i*step)
	}
	return b
}

// phasor is exp(2 pi j hz i/rate), the whole turns taken out first.
func phasor(hz, rateHz float64, i int) complex128 {
	turns := hz * float64(i) / rateHz
	return cmplx.Rect(1, 2*math.Pi*(turns-math.Floor(turns)))
}
