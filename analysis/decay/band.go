package decay

import (
	"math"
	"math/cmplx"

	"saddlewise/analysis/signal"
)

// Minimum three-term Blackman-Harris window (Harris, Proc. IEEE 66, 51-83,
// 1978): side lobes below -70 dB, first zero 3/length from the middle, zeros
// at all further multiples of 1/length. A length of 3/f1 thus puts zeros on
// every other harmonic of f1.
var windowTerms = [3]float64{0.42323, 0.49755, 0.07922}

// windowLobe is the distance of the first zero in units of 1/length.
const windowLobe = 3.0

// Decimation by a triple moving average. A rate sixteen times the wanted
// half width folds nothing into it above -70 dB.
const oversample = 16

// baseband is a partial shifted to zero frequency. Value k looks forward from
// time k/rate and never back.
type baseband struct {
	z    []complex128
	rate float64
	// steps are the averagers it passed: length in samples and their rate.
	steps []averager
}

type averager struct {
	length int
	rate   float64
}

// shift multiplies x by exp(-2 pi i hz t), averages and keeps one value in d.
func shift(x []float64, rateHz, hz float64, d int) baseband {
	return baseband{z: signal.Baseband(x, rateHz, hz, d), rate: rateHz / float64(d), steps: []averager{{d, rateHz}}}
}

// slow lowers the rate of b by d.
func (b baseband) slow(d int) baseband {
	if d <= 1 {
		return b
	}
	w := signal.TripleAverage(d)[:3*d-2]
	out := baseband{rate: b.rate / float64(d), steps: append(b.steps[:len(b.steps):len(b.steps)], averager{d, b.rate})}
	for at := 0; at+len(w) <= len(b.z); at += d {
		out.z = append(out.z, weighted(b.z[at:], w))
	}
	return out
}

// weighted is the sum of w times the first values of z.
func weighted(z []complex128, w []float64) complex128 {
	var re, im float64
	for i, v := range z[:len(w)] {
		re += w[i] * real(v)
		im += w[i] * imag(v)
	}
	return complex(re, im)
}

// window is the Blackman-Harris window over n values, with sum 1.
func window(n int) []float64 {
	w := make([]float64, n)
	sum := 0.0
	for i := range w {
		p := 2 * math.Pi * (float64(i) + 0.5) / float64(n)
		w[i] = windowTerms[0] - windowTerms[1]*math.Cos(p) + windowTerms[2]*math.Cos(2*p)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// filtered is a partial behind the window: value k looks at the lengthS
// seconds from k*hopS on.
type filtered struct {
	z       []complex128
	hopS    float64
	lengthS float64
	w       []float64
	rate    float64 // of the window's values
	steps   []averager
}

// filter applies a window of lengthS seconds, eight values to a length.
func (b baseband) filter(lengthS float64) filtered {
	b = b.slow(int(b.rate * lengthS / (oversample * windowLobe)))
	n := max(8, int(math.Round(lengthS*b.rate)))
	hop := max(1, n/8)
	f := filtered{hopS: float64(hop) / b.rate, lengthS: float64(n) / b.rate, w: window(n), rate: b.rate, steps: b.steps}
	for at := 0; at+n <= len(b.z); at += hop {
		f.z = append(f.z, weighted(b.z[at:], f.w))
	}
	return f
}

// gain is what the filter does to exp(-(alpha - i omega) t): a factor, and a
// phase, since it looks forward.
func (f filtered) gain(alpha, omega float64) complex128 {
	over := func(rate float64) complex128 { return cmplx.Exp(complex(-alpha, omega) / complex(rate, 0)) }
	g, z, turn := complex(0, 0), complex(1, 0), over(f.rate)
	for _, v := range f.w {
		g += complex(v, 0) * z
		z *= turn
	}
	for _, s := range f.steps {
		one, z, turn := complex(0, 0), complex(1/float64(s.length), 0), over(s.rate)
		for range s.length {
			one += z
			z *= turn
		}
		g *= one * one * one
	}
	return g
}
