package decay

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat"

	"saddlewise/analysis/signal"
)

// noisePrior is what is known of the noise beforehand. The bands beside the
// partial may hold other strings' sound or miss a slope of the noise, so they
// count for about 3 dB. Without them the lowest level seen is a loose upper end.
func (e envelope) noisePrior() prior {
	if e.floor > 0 {
		return prior{lnN: math.Log(e.floor + e.humLeft), sd: 0.7}
	}
	low := e.peak()
	for _, v := range smooth(e.p, 5) {
		low = min(low, v)
	}
	return prior{lnN: math.Log(max(low, 1e-12*e.peak())) - 1, sd: 4}
}

// admissible is how much worse than the best a model may be, by the
// information criterion, that still has a say in T60's interval: a weight of
// less than a two-hundredth moves no 95 % interval.
const admissible = 11.0

// models fits one decay, two, and two that beat, fast or so slowly that less
// than one beat is heard. The first has the best information criterion; the
// others explain the envelope about as well.
func (e envelope) models(top int, pr prior) []fitted {
	hi := len(e.t)
	one := e.fit(e.firstGuess(top, pr), top, hi, pr)
	all := []fitted{one}
	// Rates are expected as parts of the one decay's: try takes rate and spread.
	try := func(m model, rate, spread float64) {
		pr.rate, pr.apart = rate*one.a, spread*one.a
		if f := e.fit(m, top, hi, pr); f.known && f.a > 0 && f.b > -0.05*f.a {
			all = append(all, f)
		}
	}
	d := e.dataOf(top, hi, pr)
	d.rough = d.roughness(one.model)
	d.weigh(one.model)
	if m := d.twoStages(one.model); m.kind != single {
		try(m, 0.5, 0.4)
	}
	least := d.equations(one.model).cost - hopeless*e.correlated()
	turn := 2 * math.Pi / (d.step * float64(hi-top))
	slow := []float64{0.4 * turn, 0.7 * turn, 1.1 * turn}
	fast := []float64{e.ripple(one, top)}
	for _, rates := range [][][2]float64{{{0.75, 0.75}, {1, 1}, {1.35, 1.35}}, {{1.15, 0.3}}} {
		for _, omegas := range [][]float64{slow, fast} {
			if m, cost := d.beats(one.model, rates, omegas); cost < least {
				try(m, 1, 0.5)
			}
		}
		if slices.ContainsFunc(all, e.explainedBy) {
			break // other starting points end at the same fits
		}
	}
	return choose(all, float64(hi-top)/e.correlated())
}

// explainedBy tells whether the scatter about f is that of noise.
func (e envelope) explainedBy(f fitted) bool {
	return f.chi2 < plainChi2 && f.together < 2*e.correlated()
}

// plainChi2 is the mean squared residual of a decay that is explained; common
// practice, no source.
const plainChi2 = 1.15

// hopeless is the gain in chi-squared of a beating start below which no fit
// from there can pay for its four parameters; common practice, no source.
const hopeless = 3

// choose puts the model with the best information criterion first, a simpler
// one unless another is clearly better, and drops what explains less.
func choose(all []fitted, looks float64) []fitted {
	best := 0
	for i, f := range all {
		if f.badness(looks) < all[best].badness(looks)-2 {
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

// twoStages is the starting point of two decays whose powers add: the best of
// a few pairs of rates about the rate of one, each with its own best levels.
func (d *data) twoStages(one model) model {
	best, least := one, math.Inf(1)
	for _, fast := range []float64{1.15, 1.6, 2.5} {
		for _, slow := range []float64{0.2, 0.4, 0.7} {
			m := one
			m.a, m.b = fast*one.a, slow*one.a
			c, cost, ok := d.project([]column{{rate: m.a}, {rate: m.b}})
			if ok && cost < least && c[0] > 0 && c[1] > 0 {
				m.kind, m.lnA, m.lnB = twoRate, math.Log(c[0]), math.Log(c[1])
				best, least = m, cost
			}
		}
	}
	return best
}

// beats is the starting point of two decays that beat at one of the given
// frequencies, rad/s, and the weighted squares that free levels leave: the best of a few pairs of
// rates, in parts of one decay's, each with its own best levels and phase.
func (d *data) beats(one model, rates [][2]float64, omegas []float64) (model, float64) {
	best, least := one, math.Inf(1)
	for _, omega := range omegas {
		if omega == 0 {
			continue
		}
		for _, r := range rates {
			m := one
			m.kind, m.a, m.b, m.d = beating, r[0]*one.a, r[1]*one.a, omega
			mid := (m.a + m.b) / 2
			columns := []column{{rate: m.a}, {mid, m.d, 0}, {mid, m.d, math.Pi / 2}, {rate: m.b}}
			if m.a == m.b {
				columns = columns[:3] // the powers cannot be told apart
			}
			c, cost, ok := d.project(columns)
			if !ok || cost >= least || c[0] <= 0 {
				continue
			}
			m.phi = math.Atan2(c[2], c[1])
			m.lnA, m.lnB = splitBeat(c[0], math.Hypot(c[1], c[2]), m.a == m.b)
			best, least = m, cost
		}
	}
	return best, least
}

// splitBeat gives ln A and ln B of a beat 2 sqrt(A B), of the power A+B or A.
func splitBeat(power, beat float64, both bool) (lnA, lnB float64) {
	a := power
	if both {
		size := min(beat/power, 0.95)
		a = power * (1 + math.Sqrt(1-size*size)) / 2
	}
	b := min(beat*beat/(4*a), 2*a)
	return math.Log(a), math.Log(max(b, 1e-4*a))
}

// ripple finds the strongest periodic part of the log envelope about its own
// straight line, where noise is low, rad/s; 0: there is none.
func (e envelope) ripple(one fitted, top int) float64 {
	n := one.noise()
	var level []float64
	for k := top; k < len(e.t) && one.signal(e.t[k]) > 4*n; k++ {
		level = append(level, math.Log(max(e.p[k]-n, 0.03*one.signal(e.t[k]))))
	}
	count := len(level)
	if count < 12 {
		return 0
	}
	base, slope := stat.LinearRegression(e.t[top:top+count], level, nil, false)
	const size = 1024
	seq := make([]float64, size)
	for k, v := range level {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(k)+0.5)/float64(count))
		seq[k] = w * max(v-base-slope*e.t[top+k], -3)
	}
	c := signal.Transform(seq)
	at, most := 0, 0.0
	for k := max(1, size/count); k < len(c)*2/3; k++ {
		// What falls from the lowest frequency on is a bend, no ripple.
		if v := cmplx.Abs(c[k]); v > most && v > cmplx.Abs(c[k-1]) && v > cmplx.Abs(c[k+1]) {
			at, most = k, v
		}
	}
	return 2 * math.Pi * float64(at) / size / e.stepS
}
