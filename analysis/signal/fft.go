package signal

import (
	"math/bits"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"
)

// FFT transforms real sequences of one length and keeps its plan. Not safe
// for concurrent use: one for each goroutine.
type FFT struct {
	n       int
	plan    *fourier.FFT // nil until something needs it
	scratch []complex128 // so are the coefficients of a transform that gives none
}

// NewFFT transforms n samples; FastLength gives good n, powers of two are best.
func NewFFT(n int) *FFT { return &FFT{n: n} }

// Len is the number of samples.
func (f *FFT) Len() int { return f.n }

func (f *FFT) planned() *fourier.FFT {
	if f.plan == nil {
		f.plan = fourier.NewFFT(f.n)
	}
	return f.plan
}

// Forward puts the n/2+1 unnormalised coefficients X[k] = sum x[i] exp(-2 pi j
// i k/n) of x into dst; a nil dst is allocated.
func (f *FFT) Forward(dst []complex128, x []float64) []complex128 {
	if !quick(f.n) {
		return f.planned().Coefficients(dst, x)
	}
	if dst == nil {
		dst = make([]complex128, f.n/2+1)
	}
	byHalves(dst[:f.n/2+1], x[:f.n])
	return dst
}

// Inverse undoes Forward, scaling included; a nil dst is allocated.
func (f *FFT) Inverse(dst []float64, coefficients []complex128) []float64 {
	dst = f.planned().Sequence(dst, coefficients)
	scale := 1 / float64(f.n)
	for i := range dst {
		dst[i] *= scale
	}
	return dst
}

// longestKept is the longest transform whose plan and coefficients are kept,
// 32 bytes a sample.
const longestKept = 1 << 18

// plans lends plans by length. Making one costs as much as several transforms.
var plans sync.Map // of int to *sync.Pool of *FFT

// borrow lends a plan for n samples, used before where there is one.
func borrow(n int) (f *FFT, giveBack func()) {
	if n > longestKept {
		return NewFFT(n), func() {}
	}
	pool, ok := plans.Load(n)
	if !ok {
		pool, _ = plans.LoadOrStore(n, &sync.Pool{New: func() any { return NewFFT(n) }})
	}
	f = pool.(*sync.Pool).Get().(*FFT)
	return f, func() { pool.(*sync.Pool).Put(f) }
}

// Transform is Forward for a single sequence. Safe for concurrent use.
func Transform(x []float64) []complex128 {
	f, giveBack := borrow(len(x))
	defer giveBack()
	return f.Forward(nil, x)
}

// Energies puts the squared magnitudes of Transform's n/2+1 coefficients of x
// into dst, which may be x; a nil dst is allocated. Safe for concurrent use.
func Energies(dst, x []float64) []float64 {
	f, giveBack := borrow(len(x))
	defer giveBack()
	c := f.lent(x)
	if dst == nil {
		dst = make([]float64, len(c))
	}
	dst = dst[:len(c)]
	for k, v := range c {
		dst[k] = real(v)*real(v) + imag(v)*imag(v)
	}
	return dst
}

// lent is Forward into memory of the plan's own.
func (f *FFT) lent(x []float64) []complex128 {
	if f.scratch == nil {
		f.scratch = make([]complex128, f.n/2+1)
	}
	return f.Forward(f.scratch, x)
}

// PowerOfTwo is the least power of two that is n or more.
func PowerOfTwo(n int) int { return 1 << bits.Len(uint(max(n, 1)-1)) }

// PowerOfTwoWithin is the largest power of two that is n or less; 1 below 2.
func PowerOfTwoWithin(n int) int { return 1 << (bits.Len(uint(max(n, 1))) - 1) }

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
