package signal

import (
	"math"
	"math/cmplx"
)

// SingleBin is the windowed Fourier sum of x at any frequency, scaled so that
// A cos(2 pi hz t + phi) gives A exp(j phi), t = 0 at the first sample. w must
// be of x's length. Other lines leak in as the window's side lobes let them.
func SingleBin(x []float64, rateHz, hz float64, w Window) complex128 {
	var sum complex128
	turn := cmplx.Rect(1, -2*math.Pi*hz/rateHz)
	var at complex128
	for i, v := range x {
		if i%renew == 0 {
			at = phasor(-hz, rateHz, i)
		}
		sum += at * complex(v*w.Coefficients[i], 0)
		at *= turn
	}
	return sum * complex(2/(w.CoherentGain*float64(len(x))), 0)
}

// renew is after how many steps a running phasor is computed afresh, before
// rounding shows.
const renew = 256

// phasor is exp(2 pi j hz i/rate), the whole turns taken out first.
func phasor(hz, rateHz float64, i int) complex128 {
	turns := hz * float64(i) / rateHz
	return cmplx.Rect(1, 2*math.Pi*(turns-math.Floor(turns)))
}
