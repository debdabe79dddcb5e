package signal

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"
)

// FFT transforms real sequences of one length and keeps its plan and working
// space. Not safe for concurrent use: one for each goroutine.
type FFT struct {
	n     int
	half  stages       // of n/2 complex values, the even samples and i times the odd ones
	turn  []complex128 // exp(-2 pi j k/n), k up to n/4
	a, b  []complex128 // working space; b is made for the first inverse
	other *fourier.FFT // for lengths that are odd or have a prime factor above 5
}

// NewFFT plans transforms of n samples; FastLength gives good n.
func NewFFT(n int) *FFT {
	f := &FFT{n: n}
	if n < 2 || n%2 != 0 || !smooth(n) {
		f.other = fourier.NewFFT(n)
		return f
	}
	f.half = newStages(n / 2)
	for k := range n/4 + 1 {
		f.turn = append(f.turn, unit(-float64(k)/float64(n)))
	}
	return f.lent()
}

// lent shares the plan, which no transform changes, and not the working space.
func (f *FFT) lent() *FFT {
	if f.other != nil {
		return NewFFT(f.n)
	}
	return &FFT{n: f.n, half: f.half, turn: f.turn, a: make([]complex128, f.n/2)}
}

// Len is the number of samples.
func (f *FFT) Len() int { return f.n }

// Forward puts the n/2+1 unnormalised coefficients X[k] = sum x[i] exp(-2 pi j
// i k/n) of x into dst; a nil dst is allocated.
func (f *FFT) Forward(dst []complex128, x []float64) []complex128 {
	if f.other != nil {
		return f.other.Coefficients(dst, x)
	}
	if dst == nil {
		dst = make([]complex128, f.n/2+1)
	}
	x = x[:f.n]
	for i := range f.a {
		f.a[i] = complex(x[2*i], x[2*i+1])
	}
	dst = dst[:f.n/2+1]
	f.split(dst, f.half.transform(f.a, dst[:f.n/2]))
	return dst
}

// split tells the transforms of the even and of the odd samples from that of
// both, and joins them (Cooley, Lewis and Welch, J. Sound Vib. 12, 315-337,
// 1970). z may be the head of dst.
func (f *FFT) split(dst, z []complex128) {
	m := len(z)
	dst[0], dst[m] = complex(real(z[0])+imag(z[0]), 0), complex(real(z[0])-imag(z[0]), 0)
	for k := 1; k <= m/2; k++ {
		u, v := z[k], conj(z[m-k])
		even, odd := u+v, f.turn[k]*complex(imag(u-v), -real(u-v))
		dst[k] = halved(even + odd)
		dst[m-k] = conj(halved(even - odd))
	}
}

// Inverse undoes Forward, scaling included; a nil dst is allocated.
func (f *FFT) Inverse(dst []float64, coefficients []complex128) []float64 {
	if dst == nil {
		dst = make([]float64, f.n)
	}
	scale := 1 / float64(f.n)
	if f.other != nil {
		f.other.Sequence(dst, coefficients)
		for i := range dst {
			dst[i] *= scale
		}
		return dst
	}
	if f.b == nil {
		f.b = make([]complex128, f.n/2)
	}
	f.join(coefficients[:f.n/2+1])
	for i, z := range f.half.transform(f.a, f.b) {
		dst[2*i], dst[2*i+1] = 2*scale*real(z), -2*scale*imag(z)
	}
	return dst
}

// join undoes split, into the working space and conjugate: the transform of
// that is the conjugate of the inverse one.
func (f *FFT) join(c []complex128) {
	m := len(f.a)
	f.a[0] = halved(complex(real(c[0])+real(c[m]), real(c[m])-real(c[0])))
	for k := 1; k <= m/2; k++ {
		u, v := c[k], conj(c[m-k])
		even, odd := u+v, conj(f.turn[k])*complex(imag(v-u), real(u-v))
		f.a[k] = conj(halved(even + odd))
		f.a[m-k] = halved(even - odd)
	}
}

func conj(z complex128) complex128   { return complex(real(z), -imag(z)) }
func halved(z complex128) complex128 { return complex(real(z)/2, imag(z)/2) }

// unit is exp(2 pi j turns).
func unit(turns float64) complex128 {
	s, c := math.Sincos(2 * math.Pi * turns)
	return complex(c, s)
}

// longestKept is the longest transform whose plan is kept, 12 bytes a sample.
const longestKept = 1 << 18

// plans lends plans by length. Making one costs as much as several
// transforms, and it holds nothing of what it transformed.
var plans sync.Map // of int to *sync.Pool of *FFT

// Transform is Forward for a single sequence; its plan is one used before
// where there is one. Safe for concurrent use.
func Transform(x []float64) []complex128 {
	n := len(x)
	if n > longestKept {
		return NewFFT(n).Forward(nil, x)
	}
	pool, ok := plans.Load(n)
	if !ok {
		plan := NewFFT(n)
		pool, _ = plans.LoadOrStore(n, &sync.Pool{New: func() any { return plan.lent() }})
	}
	plan := pool.(*sync.Pool).Get().(*FFT)
	defer pool.(*sync.Pool).Put(plan)
	return plan.Forward(nil, x)
}

// FastLength is the least even m >= n without prime factors above 5: other
// lengths cost up to a hundred times more.
func FastLength(n int) int {
	m := max(n+n%2, 2)
	for !smooth(m) {
		m += 2
	}
	return m
}

// FastBelow is the largest even m <= n without prime factors above 5; 0 below 2.
func FastBelow(n int) int {
	m := max(n-n%2, 0)
	for m > 0 && !smooth(m) {
		m -= 2
	}
	return m
}

func smooth(n int) bool {
	for _, p := range [...]int{2, 3, 5} {
		for n%p == 0 {
			n /= p
		}
	}
	return n == 1
}
