package pitch

import (
	"math"
	"math/cmplx"
)

// damped is one exponentially damped sinusoid of N samples:
// 2 Re(a exp((-decay + i omega) t)), t in samples.
type damped struct {
	a            complex128
	decay, omega float64
	still        bool // decay and omega are known: hum
}

// geometric is the transform of the exponential z^t over t = 0..n-1. At the
// bins of a transform of n samples it is (1 - z^n)/(1 - z turn).
type geometric struct {
	z, power complex128 // z and z^n
	n        float64
}

func (d damped) geometric(n int) geometric {
	const least = 1e-10 // keeps the pole off the unit circle, where a bin could divide by 0
	pole := complex(-d.decay-least, d.omega)
	return geometric{cmplx.Exp(pole), cmplx.Exp(complex(float64(n), 0) * pole), float64(n)}
}

// mirror is the exponential at the negative frequency.
func (g geometric) mirror() geometric { return geometric{conj(g.z), conj(g.power), g.n} }

// at is the transform at the bin of turn.
func (g geometric) at(turn complex128) complex128 { return (1 - g.power) * inverse(1-g.z*turn) }

func inverse(z complex128) complex128 { return scaled(conj(z), 1/norm(z)) }

func scaled(z complex128, by float64) complex128 { return complex(real(z)*by, imag(z)*by) }

// leak is what a damped sinusoid of n samples adds to bins off its own: both
// of its exponentials over their common denominator, which has real
// coefficients.
type leak struct {
	p, q, twiceRe, square float64
	size, omega           float64
}

func (d damped) leak(n int) leak {
	g := d.geometric(n)
	top := d.a * (1 - g.power)
	return leak{
		p: 2 * real(top), q: 2 * real(top*cmplx.Conj(g.z)), twiceRe: 2 * real(g.z), square: norm(g.z),
		size: cmplx.Abs(d.a), omega: d.omega,
	}
}

// heard tells whether the leak may reach least between two frequencies.
func (l leak) heard(from, to, least float64) bool {
	return l.size > least*max(from-l.omega, l.omega-to)
}

// takeFrom subtracts the leak from the bins of b.
func (l leak) takeFrom(b band) {
	above, below, x := 1+l.square, 1-l.square, b.x[:len(b.turn)]
	for i, turn := range b.turn {
		c, s := real(turn), -imag(turn)
		re, im := above*c-l.twiceRe, s*below
		scale := 1 / (re*re + im*im + 1e-40) // on its own pole a leak is none
		p, q := (l.p*c-l.q)*scale, l.p*s*scale
		x[i] -= complex(p*re+q*im, q*re-p*im)
	}
}

// fitResult is the least-squares fit of damped sinusoids to a band.
type fitResult struct {
	lines  []damped
	sd     []lineSD
	rss    float64 // of the residual, complex bins
	energy float64 // of the model
	ok     bool
}

// lineSD holds the standard errors of a line: of |a|, relative, and of omega,
// which that of decay equals.
type lineSD struct{ size, omega float64 }

// fitter fits damped sinusoids to a band. But for the faint mirror at the
// negative frequency, the model is an analytic function of each line's complex
// amplitude and pole, so that the normal equations are complex and half as
// many; the mirror counts in what the lines leave, not in the slopes.
type fitter struct{ now, next equations }

// equations are the normal equations at lines.
type equations struct {
	lines   []damped
	trial   []damped       // proposed
	poles   []geometric    // of lines
	left    []complex128   // of the band by the lines
	rss     float64        // its energy
	slopes  [][]complex128 // by unknown: all amplitudes, then ln z in 1/n of lines not still
	normal  hermitian
	descent []complex128
}

// fit is by Levenberg and Marquardt's method. White noise is white over the
// bins, so within the band this is maximum likelihood. A step that promises a
// gain far below the noise is the last and not checked. A fit that still leaves
// more than wanted is given up when it gets better by little.
func (f *fitter) fit(b band, start []damped, maxShift, wanted float64) fitResult {
	const (
		small, smallGain = 1e-2, 1e-3 // far below the standard errors
		littleGain       = 0.02
	)
	f.now.build(b, start)
	lambda := 1e-2
	for range 30 {
		trial, ok := f.now.propose(b, lambda, maxShift, start)
		if ok && trial.promised < smallGain*f.now.rss {
			copy(f.now.lines, trial.lines)
			break
		}
		if ok {
			f.next.build(b, trial.lines)
			gain := f.now.rss - f.next.rss
			if gain > 0 {
				f.now, f.next = f.next, f.now
				lambda /= 4
			}
			if trial.moved < small || gain > 0 && gain < littleGain*f.now.rss && f.now.rss > wanted {
				break
			}
			if gain > 0 {
				continue
			}
		}
		if lambda *= 8; lambda > 1e6 {
			break
		}
	}
	return f.now.finish(b)
}

// reset makes room for the band and the lines' unknowns.
func (e *equations) reset(bins int) {
	unknowns := len(e.lines)
	for _, d := range e.lines {
		if !d.still {
			unknowns++
		}
	}
	e.left = resized(e.left, bins)
	for len(e.slopes) < unknowns {
		e.slopes = append(e.slopes, nil)
	}
	e.slopes = e.slopes[:unknowns]
	for i := range e.slopes {
		e.slopes[i] = resized(e.slopes[i], bins)
	}
	e.normal.reset(unknowns)
	e.descent = resized(e.descent, unknowns)
}

// resized is v, or a larger slice, of n values left from other work.
func resized[T any](v []T, n int) []T {
	if cap(v) < n {
		return make([]T, n, n+n/4)
	}
	return v[:n]
}

// build fills the equations at lines, whose amplitudes are set to what fits
// best with their poles: so a step has to find poles only. ln z is counted in
// 1/n, so that all parameters have like sizes.
func (e *equations) build(b band, lines []damped) {
	e.lines = append(e.lines[:0], lines...)
	e.reset(len(b.x))
	copy(e.left, b.x)
	e.poles = e.poles[:0]
	for i, d := range e.lines {
		e.poles = append(e.poles, d.geometric(b.n))
		e.transform(b, e.poles[i], d.a, e.slopes[i])
	}
	e.setSizes()
	pole := len(e.lines)
	for i, d := range e.lines {
		if e.take(d.a, e.slopes[i]); !d.still {
			e.poles[i].bend(d.a, e.slopes[i], e.slopes[pole])
			pole++
		}
	}
	for p := len(e.lines); p < len(e.slopes); p++ {
		e.normalise(p)
		e.descent[p] = dot(e.slopes[p], e.left)
	}
	e.rss = energyOf(e.left)
}

// transform is the line's for amplitude 1; its mirror, for amplitude a, is taken
// from what is left. Both have the products of z and turn, and one division.
func (e *equations) transform(b band, g geometric, a complex128, s []complex128) {
	top := 1 - g.power
	image := conj(a * top)
	left := e.left[:len(s)]
	for i, turn := range b.turn[:len(s)] {
		rr, ii := real(g.z)*real(turn), imag(g.z)*imag(turn)
		ri, ir := real(g.z)*imag(turn), imag(g.z)*real(turn)
		own, mirror := complex(1-rr+ii, ri+ir), complex(1-rr-ii, ri-ir) // conjugates of 1 - z turn and its mirror's
		m, n := norm(own), norm(mirror)
		scale := 1 / (m * n)
		s[i] = top * scaled(own, n*scale)
		left[i] -= image * scaled(mirror, m*scale)
	}
}

// normalise is row p of the normal equations.
func (e *equations) normalise(p int) {
	for q := range p + 1 {
		e.normal.set(p, q, dot(e.slopes[p], e.slopes[q]))
	}
}

// setSizes solves for the amplitudes, the first unknowns; nothing of their
// slopes is left then.
func (e *equations) setSizes() {
	sizes := e.descent[:len(e.lines)]
	for p := range sizes {
		e.normalise(p)
		sizes[p] = dot(e.slopes[p], e.left)
	}
	if e.normal.factor(len(sizes), 0) {
		for i, a := range e.normal.solve(sizes) {
			e.lines[i].a = a
		}
	}
	clear(sizes)
}

// take subtracts a line from what is left.
func (e *equations) take(a complex128, s []complex128) {
	left := e.left[:len(s)]
	for i, v := range s {
		left[i] -= a * v
	}
}

// bend is the slope by the pole of the line of amplitude a with transform s: as
// (1 - z turn) s is 1 - z^n, turn is gone from it.
func (g geometric) bend(a complex128, s, slope []complex128) {
	rest := 1 - g.power
	end, perN := rest+complex(g.n, 0)*g.power, a/(complex(g.n, 0)*rest)
	slope = slope[:len(s)]
	for i, v := range s {
		slope[i] = perN * (v - end) * v
	}
}

// dot is the sum of conj(a) b.
func dot(a, b []complex128) complex128 {
	var rr, ii, ri, ir float64
	b = b[:len(a)]
	for i, v := range a {
		w := b[i]
		rr += real(v) * real(w)
		ii += imag(v) * imag(w)
		ri += real(v) * imag(w)
		ir += imag(v) * real(w)
	}
	return complex(rr+ii, ri-ir)
}

func energyOf(x []complex128) float64 {
	var s float64
	for _, v := range x {
		s += norm(v)
	}
	return s
}

// proposal is a step of the fit.
type proposal struct {
	lines    []damped
	moved    float64 // largest step of decay or omega in 1/n
	promised float64 // gain, were the model linear
}

// propose solves the damped normal equations; what it gives holds until the
// next call.
func (e *equations) propose(b band, lambda, maxShift float64, start []damped) (p proposal, ok bool) {
	if !e.normal.factor(len(e.descent), lambda) {
		return p, false
	}
	step := e.normal.solve(e.descent)
	e.trial = append(e.trial[:0], e.lines...)
	p.lines = e.trial
	n, pole := float64(b.n), len(p.lines)
	for i := range p.lines {
		l := &p.lines[i]
		if l.a += step[i]; l.still {
			continue
		}
		s := step[pole]
		p.promised += real(conj(s) * e.descent[pole])
		pole++
		l.decay = max(l.decay-real(s)/n, -0.3/n)
		l.omega += imag(s) / n
		p.moved = max(p.moved, math.Abs(real(s)), math.Abs(imag(s)))
		if math.Abs(l.omega-start[i].omega) > maxShift || l.decay > 0.5 {
			return p, false
		}
	}
	return p, true
}

// finish adds standard errors from the residual: what the model does not
// explain widens them.
func (e *equations) finish(b band) fitResult {
	r := fitResult{lines: append([]damped(nil), e.lines...), rss: e.rss, sd: make([]lineSD, len(e.lines))}
	for i, v := range b.x {
		r.energy += norm(v - e.left[i])
	}
	free := 2 * (len(b.x) - len(e.slopes))
	if free < 1 || !e.normal.factor(len(e.slopes), 0) {
		return r
	}
	sd := func(unknown int) float64 {
		return math.Sqrt(math.Max(0, e.normal.inverse(unknown)*e.rss/float64(free)))
	}
	pole := len(e.lines)
	for i, d := range e.lines {
		if !d.still {
			r.sd[i] = lineSD{size: sd(i) / (cmplx.Abs(d.a) + 1e-300), omega: sd(pole) / float64(b.n)}
			pole++
		}
	}
	r.ok = true
	return r
}
