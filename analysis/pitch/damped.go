package pitch

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
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

// geometric returns S = sum z^t over t = 0..N-1 and dS/d(ln z) at a bin, for
// z = exp(pole - i theta): the transform of an exponential and its slope.
func geometric(pole complex128, turned complex128, n int, powerN complex128) (s, slope complex128) {
	rest := 1 - turned
	if cmplx.Abs(rest) < 1e-9 {
		return complex(float64(n), 0), complex(float64(n)*float64(n-1)/2, 0)
	}
	inv := 1 / rest
	s = (1 - powerN) * inv
	slope = -complex(float64(n), 0)*powerN*inv + s*turned*inv
	return s, slope
}

// add adds gain times the model of d to out, over the band's bins.
func (d damped) add(out []complex128, b band, gain float64) {
	d.each(b, func(i int, s, _, image, _ complex128) {
		out[i] += complex(gain, 0) * (d.a*s + cmplx.Conj(d.a)*image)
	})
}

// each walks the band with the transforms of the exponential and of its mirror
// at the negative frequency, and their slopes.
func (d damped) each(b band, do func(i int, s, slope, image, imageSlope complex128)) {
	pole := complex(-d.decay, d.omega)
	n := complex(float64(b.n), 0)
	z, power := cmplx.Exp(pole), cmplx.Exp(n*pole)
	mirror, mirrorPower := cmplx.Conj(z), cmplx.Conj(power)
	turn := cmplx.Exp(complex(0, -b.theta(0)))
	step := cmplx.Exp(complex(0, -2*math.Pi/float64(b.n)))
	for i := range b.x {
		s, slope := geometric(pole, z*turn, b.n, power)
		image, imageSlope := geometric(cmplx.Conj(pole), mirror*turn, b.n, mirrorPower)
		do(i, s, slope, image, imageSlope)
		turn *= step
	}
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
	rss := f.build(f.lines)
	for range 30 {
		trial, moved, ok := f.propose(lambda, maxShift, start)
		if !ok {
			lambda *= 10
			if lambda > 1e6 {
				break
			}
			continue
		}
		now := residual(b, trial, f.scratch)
		if now < rss {
			f.lines, lambda = trial, lambda/8
			converged := moved < 1e-4 || rss-now < 1e-9*rss
			rss = f.build(f.lines)
			if converged {
				break
			}
		} else if lambda *= 6; lambda > 1e6 {
			break
		}
	}
	return f.finish(rss)
}

// residual is the sum of squares that the lines leave.
func residual(b band, lines []damped, scratch []complex128) float64 {
	copy(scratch, b.x)
	for _, d := range lines {
		d.add(scratch, b, -1)
	}
	return energyOf(scratch)
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
	gram    *mat.SymDense
	grad    *mat.VecDense
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
	f.gram, f.grad = mat.NewSymDense(p, nil), mat.NewVecDense(p, nil)
	return f
}

// free is the number of parameters of a line: a (two), decay, omega.
func (d damped) free() int {
	if d.still {
		return 2
	}
	return 4
}

// build fills the normal equations at the lines; decay and omega are counted
// in 1/N, so that all parameters have like sizes.
func (f *fitter) build(lines []damped) float64 {
	copy(f.scratch, f.b.x)
	at := 0
	unit := complex(1/float64(f.b.n), 0)
	for _, d := range lines {
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
			f.gram.SetSym(p, q, dot(f.jac[p], f.jac[q]))
		}
		f.grad.SetVec(p, dot(f.jac[p], f.scratch))
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
	p := len(f.jac)
	g := mat.NewSymDense(p, nil)
	g.CopySym(f.gram)
	for i := range p {
		g.SetSym(i, i, f.gram.At(i, i)*(1+lambda)+1e-300)
	}
	var ch mat.Cholesky
	var d mat.VecDense
	if !ch.Factorize(g) || ch.SolveVecTo(&d, f.grad) != nil {
		return nil, 0, false
	}
	out = append([]damped(nil), f.lines...)
	n, at := float64(f.b.n), 0
	for i := range out {
		l := &out[i]
		l.a += complex(d.AtVec(at), d.AtVec(at+1))
		if !l.still {
			l.decay = math.Max(l.decay+d.AtVec(at+2)/n, -0.3/n)
			l.omega += d.AtVec(at+3) / n
			moved = math.Max(moved, math.Max(math.Abs(d.AtVec(at+2)), math.Abs(d.AtVec(at+3))))
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
	var ch mat.Cholesky
	if !ch.Factorize(f.gram) {
		return r
	}
	var inv mat.SymDense
	if ch.InverseTo(&inv) != nil {
		return r
	}
	free := 2*len(f.b.x) - len(f.jac)
	if free < 1 {
		return r
	}
	at := 0
	for i, d := range f.lines {
		if !d.still {
			v := inv.At(at+3, at+3) * rss / float64(free)
			r.omegaSD[i] = math.Sqrt(math.Max(0, v)) / float64(f.b.n)
		}
		at += d.free()
	}
	r.ok = true
	return r
}
