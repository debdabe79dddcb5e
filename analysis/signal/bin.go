package signal

import (
	"math"
	"math/cmplx"
)

// SingleBin is the windowed Fourier sum of x at any frequency, scaled so that
// A cos(2 pi hz t + phi) gives A exp(j phi), t = 0 at the first sample. w must
// be of x's length. Other lines leak in as the window's side lobes let them.
func SingleBin(x []float64, rateHz, hz float64, w Window) complex128 {
	at, turn := complex(1, 0), cmplx.Rect(1, -2*math.Pi*hz/rateHz)
	var sum complex128
	for i, v := range x {
		sum += at * complex(v*w.Coefficients[i], 0)
		at *= turn // rounding drifts by some 1e-16 a step, far below 24 bits over any take
	}
	return sum * complex(2/(w.CoherentGain*float64(len(x))), 0)
}
