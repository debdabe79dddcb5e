package signal

import (
	"math"
	"math/cmplx"
	"strconv"
	"testing"

	"saddlewise/fixtures/accuracy"
)

func sizeName(n int) string { return strconv.Itoa(n) }

func tone(n int, rateHz, hz, amplitude, phase float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Cos(2*math.Pi*hz*float64(i)/rateHz+phase)
	}
	return x
}

// singleBin is the windowed Fourier sum of x at any frequency, scaled so that
// A cos(2 pi hz t + phi) gives A exp(j phi), t = 0 at the first sample.
func singleBin(x []float64, rateHz, hz float64, w Window) complex128 {
	at, turn := complex(1, 0), cmplx.Rect(1, -2*math.Pi*hz/rateHz)
	var sum complex128
	for i, v := range x {
		sum += at * complex(v*w.Coefficients[i], 0)
		at *= turn
	}
	return sum * complex(2/(w.CoherentGain*float64(len(x))), 0)
}

// H(f) = 1/(1 - j fc/f), in magnitude and phase, over the string band.
func TestHighPassEqualsRC(t *testing.T) {
	var off []float64
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		for _, corner := range []float64{2, 20, 80, 200} {
			worstDB, worstDegrees := 0.0, 0.0
			for _, hz := range []float64{5, 20, 41.2, 82.4, 440, 2000, 5000} {
				n := int(rate)
				x := tone(2*n, rate, hz, 1, 0)
				NewHighPass(rate, corner).Filter(x)
				got := singleBin(x[n:], rate, hz, Hann(n)) / cmplx.Rect(1, 2*math.Pi*hz*float64(n)/rate)
				want := 1 / complex(1, -corner/hz)
				worstDB = math.Max(worstDB, math.Abs(AmplitudeToDB(cmplx.Abs(got)/cmplx.Abs(want))))
				worstDegrees = math.Max(worstDegrees, math.Abs(cmplx.Phase(got/want))*180/math.Pi)
			}
			off = append(off, worstDB)
			if worstDB > 0.001 || worstDegrees > 0.1 {
				t.Errorf("%g Hz corner at %g: %.4f dB, %.3f degrees", corner, rate, worstDB, worstDegrees)
			}
		}
	}
	accuracy.Report(t, accuracy.Row{Measure: "first-order high-pass", Range: "corners 2-200 Hz, 5 Hz-5 kHz, 44.1-192 kHz", Unit: "dB",
		Bound: "0.001", Source: "RC circuit, 1/(1 - j fc/f)"}, off)
}

// A step through an RC high-pass decays as exp(-2 pi fc t); a straight input
// ramp has an exact answer too, and blocks must not matter.
func TestHighPassInTime(t *testing.T) {
	const rate, corner = 48000.0, 120.0
	w := 2 * math.Pi * corner
	ramp := make([]float64, 5000)
	for i := range ramp {
		ramp[i] = float64(i) / rate
	}
	h := NewHighPass(rate, corner)
	h.Filter(ramp[:777])
	h.Filter(ramp[777:])
	for i, v := range ramp {
		near(t, "ramp", v*w, -math.Expm1(-w*float64(i)/rate), 1e-12)
	}
	same := noise(1, 10)
	kept := append([]float64(nil), same...)
	NewHighPass(rate, 0).Filter(same)
	for i := range same {
		near(t, "no corner", same[i], kept[i], 1e-12)
	}
}
