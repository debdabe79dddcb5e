package pitch

import "math"

// partial is one partial measured.
type partial struct {
	n         int
	hz, sdHz  float64
	decay     float64 // 1/s
	amplitude float64 // at the start of the settled part
	snrDB     float64
	beatHz    float64 // distance of the second line of a beating pair; 0: none
	beatShare float64 // of the second line in the pair's energy
}

// stringFit is a string fitted to partials.
type stringFit struct {
	s            stiffString
	f1SDHz, bSD  float64
	scatterCents float64
	enough       bool // partials to tell B
	used         []bool
	rangeHz      [2]float64
}

const (
	priorB        = 5e-4 // spread of B among strings: decides only where partials are too few
	largestB      = 6e-3
	partialsForB  = 4
	fewPartials   = 8
	smallestCents = 0.003 // below this no partial is trusted
)

// fitString fits ln f_n = ln n + ln f0 + ln(1 + B n^2)/2 by weighted least
// squares. Partials scatter about the formula by more than their measuring
// error (body resonances pull them): that scatter is estimated from the
// residuals and added to every variance, and outliers lose weight (Tukey's
// biweight).
func fitString(p []partial, start stiffString) (stringFit, bool) {
	if len(p) == 0 {
		return stringFit{}, false
	}
	best := regress(p, start, 2)
	if len(p) <= fewPartials { // of which much scatter, or none, may explain the same
		if other := regress(p, start, 0.05); other.ok && (!best.ok || other.surprise() < best.surprise()) {
			best = other
		}
	}
	return best.result(), best.ok
}

// regress starts with a scatter in cents.
func regress(p []partial, start stiffString, scatter float64) *regression {
	n := len(p)
	v := make([]float64, 3*n)
	r := &regression{p: p, s: start, scatter: scatter, weight: v[:n:n], resid: v[n : 2*n : 2*n], sd: v[2*n:]}
	for i, q := range p {
		r.weight[i] = 1
		r.sd[i] = math.Max(smallestCents, 1200/math.Ln2*q.sdHz/q.hz)
	}
	r.compare()
	for range 25 {
		before := r.s
		if r.ok = r.step(); !r.ok {
			break
		}
		r.reweigh()
		if math.Abs(r.s.f0/before.f0-1) < 1e-9 && math.Abs(r.s.b-before.b) < 1e-9 {
			break
		}
	}
	return r
}

// surprise is minus twice the log likelihood of the residuals and of B.
func (r *regression) surprise() float64 {
	sum := r.s.b * r.s.b / (priorB * priorB)
	for i, e := range r.resid {
		sd := r.sd[i]
		variance := sd*sd + r.scatter*r.scatter
		sum += math.Min(e*e/variance, 25) + math.Log(variance)
	}
	return sum
}

type regression struct {
	p       []partial
	s       stiffString
	weight  []float64 // robust, 0..1
	resid   []float64 // cents
	sd      []float64 // standard errors in cents, scatter apart
	scatter float64   // cents
	cov     [3]float64
	ok      bool
}

// step solves for ln f0 and B about the present string (Gauss-Newton).
func (r *regression) step() bool {
	const toCents = 1200 / math.Ln2
	var a11, a12, a22, g1, g2 float64
	for i, p := range r.p {
		k := float64(p.n)
		e, sd := r.resid[i], r.sd[i]
		w := r.weight[i] / (sd*sd + r.scatter*r.scatter)
		d := toCents * 0.5 * k * k / (1 + r.s.b*k*k)
		a11 += w * toCents * toCents
		a12 += w * toCents * d
		a22 += w * d * d
		g1 += w * toCents * e
		g2 += w * d * e
	}
	a22 += 1 / (priorB * priorB)
	g2 -= r.s.b / (priorB * priorB)
	det := a11*a22 - a12*a12
	if !(det > 0) {
		return false
	}
	b := r.s.b + (a11*g2-a12*g1)/det
	if b < 0 || b > largestB { // on the bound only f0 is free
		b = math.Max(0, math.Min(b, largestB))
		r.s.f0 *= math.Exp((g1 - a12*(b-r.s.b)) / a11)
	} else {
		r.s.f0 *= math.Exp((a22*g1 - a12*g2) / det)
	}
	r.s.b = b
	r.cov = [3]float64{a22 / det, -a12 / det, a11 / det}
	return r.s.f0 > 0 && !math.IsInf(r.s.f0, 0)
}

// compare sets the residuals.
func (r *regression) compare() {
	for i, p := range r.p {
		r.resid[i] = cents(p.hz / r.s.hz(p.n))
	}
}

// reweigh estimates the scatter from the residuals and weighs outliers down.
func (r *regression) reweigh() {
	r.compare()
	r.scatter = math.Max(r.extraScatter(), r.scatter/3) // by steps: the first fits are still wrong
	for i := range r.p {
		z := r.resid[i] / (5 * math.Hypot(r.sd[i], r.scatter))
		r.weight[i] = 0
		if math.Abs(z) < 1 {
			r.weight[i] = (1 - z*z) * (1 - z*z)
		}
	}
	if sum(r.weight) < 0.5 {
		for i := range r.weight {
			r.weight[i] = 1
		}
	}
}

// extraScatter is the scatter that makes the median of the squared normalised
// residuals what it should be (0.455 for a Gaussian), allowing for the two
// fitted parameters. Partials count by how well they were measured: the worst
// know nothing of the scatter.
func (r *regression) extraScatter() float64 {
	free := len(r.p) - 2
	if free < 1 {
		return 2
	}
	want := 0.455 * float64(free) / float64(len(r.p))
	above := func(t float64) bool { // is the median of the squares more than wanted
		var below, all float64
		for i, e := range r.resid {
			sd := r.sd[i]
			w := 1 / (sd*sd + 1)
			all += w
			if e*e <= want*(sd*sd+t*t) {
				below += w
			}
		}
		return below < all/2
	}
	if !above(0) {
		return 0
	}
	low, high := 0.0, 100.0
	for range 16 { // to 0.002 cents
		if mid := (low + high) / 2; above(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

func (r *regression) result() stringFit {
	fit := stringFit{s: r.s, scatterCents: r.scatter, used: make([]bool, len(r.p))}
	n := 0
	for i, w := range r.weight {
		if fit.used[i] = w > 0.1; fit.used[i] {
			n++
		}
	}
	f1 := r.s.hz(1)
	h := 0.5 / (1 + r.s.b)
	fit.f1SDHz = f1 * math.Sqrt(r.cov[0]+2*h*r.cov[1]+h*h*r.cov[2])
	fit.bSD = math.Sqrt(r.cov[2])
	fit.enough = n >= partialsForB
	fit.rangeHz = r.spread(f1)
	return fit
}

// spread is how far partials disagree, carried to the first: beating pairs in
// full, and the scatter about the string.
func (r *regression) spread(f1 float64) [2]float64 {
	low, high := f1, f1
	for i, p := range r.p {
		if r.weight[i] < 0.1 || p.beatHz == 0 {
			continue
		}
		other := f1 * (p.hz + p.beatHz) / p.hz
		low, high = math.Min(low, other), math.Max(high, other)
	}
	return [2]float64{low, high}
}

func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

func sum(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x
	}
	return s
}
