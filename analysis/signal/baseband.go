package signal

import "math"

// Waves are three complex waves, real and imaginary parts in turn.
type Waves [][6]float64

// Project sums x times each of the waves, and the squares of x, all in one
// pass: no sum waits for another.
func (w Waves) Project(x []float64) (sums [6]float64, energy float64) {
	var a, b, c, d, e, f float64
	for i, v := range x {
		wave := &w[i]
		a, b, c = a+v*wave[0], b+v*wave[1], c+v*wave[2]
		d, e, f = d+v*wave[3], e+v*wave[4], f+v*wave[5]
		energy += v * v
	}
	return [6]float64{a, b, c, d, e, f}, energy
}

// Baseband multiplies x by exp(-2 pi j hz t) and averages it by a triple moving
// average over d samples, one value in d. Value k is centred on sample
// k d + (3d-2)/2.
func Baseband(x []float64, rateHz, hz float64, d int) []complex128 {
	blocks := len(x) / d
	if blocks < 3 {
		return nil
	}
	omega := 2 * math.Pi * hz / rateHz
	w := spline(d)
	waves := make(Waves, d) // the three blocks' weights, turning
	for i := range waves {
		s, c := math.Sincos(omega * float64(i))
		for j := range 3 {
			waves[i][2*j], waves[i][2*j+1] = w[j*d+i]*c, w[j*d+i]*s
		}
	}
	out := make([]complex128, blocks)
	for k := range blocks {
		s, c := math.Sincos(math.Mod(omega*float64(d)*float64(k), 2*math.Pi))
		sums, _ := waves.Project(x[k*d : (k+1)*d])
		for j := 0; j < 3 && j <= k; j++ {
			out[k-j] += complex(c, -s) * complex(sums[2*j], -sums[2*j+1])
		}
	}
	return out[:blocks-2]
}

// spline is the triple moving average over n samples, with sum 1.
func spline(n int) []float64 {
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
