package signal

import (
	"math"

	"github.com/mjibson/go-dsp/window"
)

// Window is a periodic (DFT-even) window with its figures of merit, as
// defined by Harris, Proc. IEEE 66(1), 51-83, 1978.
type Window struct {
	Name         string
	Coefficients []float64
	CoherentGain float64 // mean of the coefficients
	PowerGain    float64 // mean of their squares
}

// NoiseBandwidthBins is the equivalent noise bandwidth in DFT bins.
func (w Window) NoiseBandwidthBins() float64 { return w.PowerGain / (w.CoherentGain * w.CoherentGain) }

// ScallopingDB is the loss of a tone half-way between two bins.
func (w Window) ScallopingDB() float64 {
	n := float64(len(w.Coefficients))
	var re, im float64
	for i, c := range w.Coefficients {
		s, k := math.Sincos(math.Pi * float64(i) / n)
		re += c * k
		im -= c * s
	}
	return -AmplitudeToDB(math.Hypot(re, im) / (n * w.CoherentGain))
}

// Rectangular is no window at all.
func Rectangular(n int) Window { return periodic("rectangular", n, window.Rectangular) }

// Hann is the Hann window of n samples.
func Hann(n int) Window {
	w := Window{Name: "Hann", Coefficients: make([]float64, n), CoherentGain: 0.5, PowerGain: HannPowerGain}
	switch n {
	case 1:
		w.CoherentGain, w.PowerGain = 0, 0
	case 2:
		w.PowerGain = 0.5
	}
	FillHann(w.Coefficients)
	return w
}

// FillHann makes w the coefficients of a Hann window.
func FillHann(w []float64) {
	n := len(w)
	if n == 0 {
		return
	}
	w[0] = 0
	step := unit(1 / float64(n))
	for from := 1; from <= n/2; from += exactEvery {
		z := unit(float64(from) / float64(n))
		for i := from; i < min(n/2+1, from+exactEvery); i++ {
			v := 0.5 - 0.5*real(z)
			w[i], w[n-i] = v, v
			z *= step
		}
	}
}

// exactEvery is how often a turning phasor is set anew, so that its rounding
// errors stay within a few units in the last place.
const exactEvery = 32

// Hamming is the Hamming window of n samples.
func Hamming(n int) Window { return periodic("Hamming", n, window.Hamming) }

// Blackman is the Blackman window of n samples.
func Blackman(n int) Window { return periodic("Blackman", n, window.Blackman) }

// FlatTop is a flat-top window of n samples: tones read right between bins.
func FlatTop(n int) Window { return periodic("flat top", n, window.FlatTop) }

// BlackmanHarris is the four-term minimum Blackman-Harris window (Harris
// 1978, -92 dB side lobes): for lines beside far stronger ones.
func BlackmanHarris(n int) Window {
	return periodic("Blackman-Harris", n, func(m int) []float64 {
		w := make([]float64, m)
		for i := range w {
			t := 2 * math.Pi * float64(i) / float64(m-1)
			w[i] = 0.35875 - 0.48829*math.Cos(t) + 0.14128*math.Cos(2*t) - 0.01168*math.Cos(3*t)
		}
		return w
	})
}

// periodic drops the last of n+1 symmetric coefficients.
func periodic(name string, n int, symmetric func(int) []float64) Window {
	w := Window{Name: name, Coefficients: symmetric(n + 1)[:n]}
	for _, c := range w.Coefficients {
		w.CoherentGain += c / float64(n)
		w.PowerGain += c * c / float64(n)
	}
	return w
}
