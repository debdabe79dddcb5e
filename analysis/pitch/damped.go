package pitch

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// damped is one exponentially damped sinusoid of N samples:
// 2 Re(a exp((-decay + i omega) t)), t in samples.
type damped struct {
	a            complex128
	decay, omega float64
	still        bool // decay and omega are known: hum
}

// band is a stretch of bins of the discrete Fourier transform of N samples.
type band struct {
	n, low int
	x      []complex128
}

// theta is the frequency of bin i of the band, radians a sample.
func (b band) theta(i int) float64 { return 2 * math.Pi * float64(b.low+i) / float64(b.n) }

// geometric returns S = sum z^t over t = 0..N-1 and dS/d(ln z), for the
// exponential z turned by a bin's frequency and its N-th power.
func geometric(turned, powerN complex128, n float64) (s, slope complex128) {
	re, im := 1-real(turned), -imag(turned)
	square := re*re + im*im
	if square < 1e-18 {
		return complex(n, 0), complex(n*(n-1)/2, 0)
	}
	inv := complex(re/square, -im/square)
	s = (1 - powerN) * inv
	return s, (s*turned - complex(n, 0)*powerN) * inv
}

// add adds gain times the model of d to out, over the band's bins.
func (d damped) add(out []complex128, b band, gain float64) {
	a := complex(gain, 0) * d.a
	ca := cmplx.Conj(a)
	d.each(b, func(i int, s, _, image, _ complex128) {
		out[i] += a*s + ca*image
	})
}

// each walks the band with the transforms of the exponential and of its mirror
// at the negative frequency, and their slopes.
func (d damped) each(b band, do func(i int, s, slope, image, imageSlope complex128)) {
	pole := complex(-d.decay, d.omega)
	n := float64(b.n)
	z, power := cmplx.Exp(pole), cmplx.Exp(complex(n, 0)*pole)
	turn := cmplx.Exp(complex(0, -b.theta(0)))
	step := cmplx.Exp(complex(0, -2*math.Pi/n))
	a, mirror, mirrorPower := z*turn, cmplx.Conj(z)*turn, cmplx.Conj(power)
	for i := range b.x {
		s, slope := geometric(a, power, n)
		image, imageSlope := geometric(mirror, mirrorPower, n)
		do(i, s, slope, image, imageSlope)
		a *= step
		mirror *= step
	}
}

// tail is about the largest that d gets in a band it does not lie in.
func (d damped) tail(b band) float64 {
	low, high := b.theta(0), b.theta(len(b.x)-1)
	apart := math.Max(low-d.omega, d.omega-high)
	if apart <= 0 {
		return math.Inf(1)
	}
	return cmplx.Abs(d.a) / apart
}

// fitResult is the least-squares fit of damped sinusoids to a band.
type fitResult struct {
	lines   []damped
	omegaSD []float64
	rss     float64 // of the residual, complex bins
	energy  float64 // of the model
	ok      bool
}

// fitDamped fits lines to the band by Levenberg and Marquardt's method. White
// noise is white over the bins, so within the band this is maximum likelihood.
func fitDamped(b band, start []damped, maxShift float64) fitResult {
	f := newFitter(b, start)
	lambda := 1e-3
	rss := f.build()
	for range 30 {
		before := f.lines
		trial, moved, ok := f.propose(lambda, maxShift, start)
		if ok {
			f.lines = trial
			now := f.build()
			if now < rss {
				converged := moved < 1e-3 || rss-now < 1e-9*rss
				rss, lambda = now, lambda/8
				if converged {
					break
				}
				continue
			}
			f.lines = before
			f.build()
			if moved < 1e-3 {
				break
			}
		}
		if lambda *= 8; lambda > 1e6 {
			break
		}
	}
	return f.finish(rss)
}

func energyOf(x []complex128) float64 {
	var s float64
	for _, v := range x {
		s += real(v)*real(v) + imag(v)*imag(v)
	}
	return s
}

// fitter holds the normal equations.
type fitter struct {
	b       band
	lines   []damped
	scratch []complex128
	jac     [][]complex128
	gram    blas64.Symmetric
	grad    []float64
}

func newFitter(b band, start []damped) *fitter {
	f := &fitter{b: b, lines: append([]damped(nil), start...), scratch: make([]complex128, len(b.x))}
	p := 0
	for _, d := range start {
		p += d.free()
	}
	f.jac = make([][]complex128, p)
	for i := range f.jac {
		f.jac[i] = make([]complex128, len(b.x))
	}
	f.gram = blas64.Symmetric{N: p, Stride: p, Uplo: blas.Upper, Data: make([]float64, p*p)}
	f.grad = make([]float64, p)
	return f
}

func (f *fitter) copyGram() blas64.Symmetric {
	g := f.gram
	g.Data = append([]float64(nil), g.Data...)
	return g
}

// free is the number of parameters of a line: a (two), decay, omega.
func (d damped) free() int {
	if d.still {
		return 2
	}
	return 4
}

// build fills the normal equations at the lines and returns what they leave; decay and omega are counted
// in 1/N, so that all parameters have like sizes.
func (f *fitter) build() float64 {
	copy(f.scratch, f.b.x)
	at := 0
	unit := complex(1/float64(f.b.n), 0)
	for _, d := range f.lines {
		j := f.jac[at : at+d.free()]
		ca := cmplx.Conj(d.a)
		d.each(f.b, func(i int, s, slope, image, imageSlope complex128) {
			j[0][i] = s + image
			j[1][i] = complex(0, 1) * (s - image)
			f.scratch[i] -= d.a*s + ca*image
			if len(j) == 4 {
				u, v := d.a*slope*unit, ca*imageSlope*unit
				j[2][i] = -u - v
				j[3][i] = complex(0, 1) * (u - v)
			}
		})
		at += d.free()
	}
	for p := range f.jac {
		for q := p; q < len(f.jac); q++ {
			f.gram.Data[p*f.gram.Stride+q] = dot(f.jac[p], f.jac[q])
		}
		f.grad[p] = dot(f.jac[p], f.scratch)
	}
	return energyOf(f.scratch)
}

func dot(a, b []complex128) float64 {
	var s float64
	for i, v := range a {
		s += real(v)*real(b[i]) + imag(v)*imag(b[i])
	}
	return s
}

// propose solves the damped normal equations; moved is the largest step of
// decay or omega in 1/N.
func (f *fitter) propose(lambda, maxShift float64, start []damped) (out []damped, moved float64, ok bool) {
	g := f.copyGram()
	for i := range g.N {
		g.Data[i*g.Stride+i] *= 1 + lambda
	}
	t, ok := lapack64.Potrf(g)
	if !ok {
		return nil, 0, false
	}
	d := append([]float64(nil), f.grad...)
	lapack64.Potrs(t, blas64.General{Rows: g.N, Cols: 1, Stride: 1, Data: d})
	out = append([]damped(nil), f.lines...)
	n, at := float64(f.b.n), 0
	for i := range out {
		l := &out[i]
		l.a += complex(d[at], d[at+1])
		if !l.still {
			l.decay = math.Max(l.decay+d[at+2]/n, -0.3/n)
			l.omega += d[at+3] / n
			moved = math.Max(moved, math.Max(math.Abs(d[at+2]), math.Abs(d[at+3])))
			if math.Abs(l.omega-start[i].omega) > maxShift || l.decay > 0.5 {
				return nil, 0, false
			}
		}
		at += l.free()
	}
	return out, moved, true
}

// finish adds standard errors from the residual: what the model does not
// explain widens them.
func (f *fitter) finish(rss float64) fitResult {
	r := fitResult{lines: f.lines, rss: rss, omegaSD: make([]float64, len(f.lines))}
	total := make([]complex128, len(f.b.x))
	for _, d := range f.lines {
		d.add(total, f.b, 1)
	}
	r.energy = energyOf(total)
	t, ok := lapack64.Potrf(f.copyGram())
	if !ok {
		return r
	}
	inverse := func(i int) float64 { // element i of the diagonal
		e := make([]float64, len(f.jac))
		e[i] = 1
		lapack64.Potrs(t, blas64.General{Rows: len(e), Cols: 1, Stride: 1, Data: e})
		return e[i]
	}
	free := 2*len(f.b.x) - len(f.jac)
	if free < 1 {
		return r
	}
	at := 0
	for i, d := range f.lines {
		if !d.still {
			v := inverse(at+3) * rss / float64(free)
			r.omegaSD[i] = math.Sqrt(math.Max(0, v)) / float64(f.b.n)
		}
		at += d.free()
	}
	r.ok = true
	return r
}
