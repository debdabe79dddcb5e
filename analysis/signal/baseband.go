package signal

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// Baseband multiplies x by exp(-2 pi j hz t) and averages it by a triple moving
// average over d samples, one value in d. Value k is centred on sample
// k d + (3d-3)/2.
func Baseband(x []float64, rateHz, hz float64, d int) []complex128 {
	if len(x) < 3*d {
		return nil
	}
	re, im := TripleAverage(d), make([]float64, 3*d)
	for i, v := range re {
		s, c := math.Sincos(-2 * math.Pi * hz / rateHz * float64(i))
		re[i], im[i] = v*c, v*s
	}
	out := make([]complex128, len(x)/d-2)
	turns := -hz * float64(d) / rateHz
	step := unit(turns)
	var turn complex128
	for k := range out {
		if k%exactEvery == 0 {
			turn = unit(turns * float64(k))
		}
		seen := x[k*d : (k+3)*d]
		out[k] = turn * complex(floats.Dot(seen, re), floats.Dot(seen, im))
		turn *= step
	}
	return out
}

// TripleAverage is the weights of a moving average over n values done three
// times, 3n of them with sum 1; the last two are 0.
func TripleAverage(n int) []float64 {
	w := []float64{1}
	for range 3 {
		next := make([]float64, len(w)+n-1)
		sum := 0.0
		for i := range next {
			if i < len(w) {
				sum += w[i]
			}
			if i >= n {
				sum -= w[i-n]
			}
			next[i] = sum / float64(n)
		}
		w = next
	}
	return append(w, make([]float64, 3*n-len(w))...)
}
