package decay

import (
	"math"
	"math/cmplx"

	"saddlewise/analysis/signal"
)

// noisePrior is what is known of the noise beforehand. The bands beside the
// partial may hold other strings' sound or miss a slope of the noise, so they
// count for about 3 dB. Without them the lowest level seen is a loose upper end.
func (e envelope) noisePrior() prior {
	if e.floor > 0 {
		return prior{math.Log(e.floor + e.humLeft), 0.7}
	}
	low := e.peak()
	for _, v := range smooth(e.p, 5) {
		low = min(low, v)
	}
	return prior{math.Log(max(low, 1e-12*e.peak())) - 1, 4}
}

// plainChi2 is the mean squared residual below which one decay explains all.
// The simpler model is kept then.
const plainChi2 = 1.15

// admissible is how much worse than the best a model may be, by the
// information criterion, that still has a say in T60's interval; common
// practice, no source.
const admissible = 6.0

// smoothTail is the scatter, in parts of what noise makes, below which the
// noise of a single decay may hide a second, slow decay.
const smoothTail = 0.4

// models fits one decay, two, and two that beat. The first has the best
// information criterion; the others explain the envelope about as well.
func (e envelope) models(top int, pr prior) []fitted {
	hi := len(e.t)
	one := e.fit(e.firstGuess(top, pr), top, hi, pr)
	hidden := one.excess > 1 || one.tail < smoothTail
	if one.a > 0 && one.chi2 < plainChi2 && one.together < 2*e.correlated() && !hidden {
		return []fitted{one}
	}
	all := []fitted{one}
	var explained [beating + 1]bool
	for _, m := range e.guesses(one, top) {
		if explained[m.kind] {
			continue // other starting points end at the same fit
		}
		if f := e.fit(m, top, hi, pr); f.known && f.a > 0 && f.b > -0.05*f.a {
			all = append(all, f)
			explained[m.kind] = f.chi2 < plainChi2
		}
	}
	looks := float64(hi-top) / e.correlated()
	out := choose(all, looks)
	for _, m := range slowBeats(one, e.t[hi-1]-e.t[top], e.t[top]) {
		f := e.fit(m, top, hi, pr)
		if f.known && f.a > 0 && f.b > -0.05*f.a && f.badness(looks) < out[0].badness(looks)+admissible {
			out = append(out, f)
		}
	}
	return out
}

// choose puts the model with the best information criterion first, a simpler
// one unless another is clearly better, and drops what explains less.
func choose(all []fitted, looks float64) []fitted {
	best := 0
	for i, f := range all {
		beats := f.kind == beating && all[best].kind == twoRate && all[best].chi2 < plainChi2
		if !beats && f.badness(looks) < all[best].badness(looks)-2 {
			best = i
		}
	}
	out := []fitted{all[best]}
	for i, f := range all {
		if i != best && f.badness(looks) < all[best].badness(looks)+admissible {
			out = append(out, f)
		}
	}
	return out
}

func (e envelope) firstGuess(top int, pr prior) model {
	p := smooth(e.p, 5)
	low := math.Inf(1)
	for _, v := range p[top:] {
		low = min(low, v)
	}
	noise := min(low, math.Exp(pr.lnN))
	k := top
	for k < len(p)-1 && p[k] > 0.1*p[top] {
		k++
	}
	k = max(k, top+1)
	rate := max(math.Log(p[top]/max(p[k], 1e-30))/(2*(e.t[k]-e.t[top])), 0.05)
	noise = max(0.5*noise, 1e-9*p[top])
	return model{lnA: math.Log(p[top]) + 2*rate*e.t[top], a: rate, lnN: math.Log(noise)}
}

// guesses are starting points of the two-component models.
func (e envelope) guesses(one fitted, top int) []model {
	t0 := e.t[top]
	level := one.lnA - 2*one.a*t0
	var out []model
	for _, g := range []struct{ late, fast, slow float64 }{{-10, 1.4, 0.4}, {-20, 1.2, 0.25}, {-4, 2.5, 0.7}} {
		m := one.model
		m.kind = twoRate
		m.a, m.b = one.a*g.fast, one.a*g.slow
		m.lnA = level + 2*m.a*t0
		m.lnB = level + g.late*math.Ln10/10 + 2*m.b*t0
		out = append(out, m)
	}
	d, phi, depth := e.ripple(one, top)
	if d == 0 {
		return out
	}
	m := one.model
	m.kind, m.d, m.phi, m.b = beating, d, phi, one.a
	m.lnB = m.lnA + 2*math.Log(min(max(depth/2, 0.02), 0.8))
	out = append(out, m)
	m.a, m.b = 1.3*one.a, 0.6*one.a
	return append(out, m)
}

// slowBeats are starting points for beats that last longer than the note is
// heard: out of the loudest, and through the softest, part of one.
func slowBeats(one fitted, seconds, t0 float64) []model {
	var out []model
	for _, g := range []struct{ turns, phase float64 }{{0.4, 0.2}, {0.5, 2.5}, {0.8, 1.2}} {
		m := one.model
		m.kind, m.b, m.d = beating, one.a, 2*math.Pi*g.turns/max(seconds, 1e-3)
		m.lnB = m.lnA + 2*math.Log(0.5)
		m.phi = g.phase - m.d*t0
		out = append(out, m)
	}
	return out
}

// ripple finds the strongest periodic part of the log envelope about one
// decay, where noise is low: rad/s, phase at t = 0 and amplitude (neper of power).
func (e envelope) ripple(one fitted, top int) (omega, phi, depth float64) {
	n := one.noise()
	hi := top
	for k := top; k < len(e.t) && one.signal(e.t[k]) > 4*n; k++ {
		hi = k + 1
	}
	count := hi - top
	if count < 12 {
		return 0, 0, 0
	}
	const size = 1024
	seq := make([]float64, size)
	sum := 0.0
	for k := range count {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(k)+0.5)/float64(count))
		r := math.Log(max(e.p[top+k], 1e-30) / (one.signal(e.t[top+k]) + n))
		seq[k] = w * max(r, -3)
		sum += w
	}
	c := signal.Transform(seq)
	least := max(1, size/count)
	at := least
	for k := least; k < len(c)*2/3; k++ {
		if cmplx.Abs(c[k]) > cmplx.Abs(c[at]) {
			at = k
		}
	}
	omega = 2 * math.Pi * float64(at) / size / e.stepS
	phi = cmplx.Phase(c[at]) - omega*e.t[top]
	return omega, math.Mod(phi, 2*math.Pi), 2 * cmplx.Abs(c[at]) / sum
}
