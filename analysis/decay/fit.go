package decay

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/floats"
)

// fitted is a model with what the fit says of it.
type fitted struct {
	model
	cov    square  // of the parameters, autocorrelation allowed for
	known  bool    // cov is: the equations are not singular
	chi2   float64 // mean squared weighted residual
	excess float64 // squared departure from what is known beforehand, in standard errors
	lnVar  float64 // mean log variance of a point
	looks  float64 // independent points
	// together is how many neighbouring residuals tell one thing.
	together float64
}

// prior is what is known beforehand of ln N and of the rate of a second
// component, each with its standard error. It keeps a second component that
// the envelope hardly shows within what a string may do.
type prior struct {
	lnN, sd     float64
	rate, apart float64 // 1/s; 0: nothing is known
}

// The level that a second component may be expected to start at: from as loud
// as the first to 30 dB below; common practice, no source.
const (
	secondLn   = -3.0 // ln B/A
	secondLnSD = 3.0
)

// The share of its power by which an envelope strays from any smooth decay is
// read where the noise is low, and kept between these.
const (
	leastRough = 0.01
	mostRough  = 0.04
)

// data is what a model is fitted to: powers at equally spaced times.
type data struct {
	p, root  []float64 // root is one over the standard deviation
	t0, step float64
	free     float64 // independent looks in a point
	rough    float64
	pr       prior
	slopes   [mostParams][]float64 // room for the weighted derivatives of the points
	residual []float64             // and for their weighted residuals
}

func (e envelope) dataOf(lo, hi int, pr prior) data {
	n := hi - lo
	room := make([]float64, (mostParams+2)*n)
	d := data{p: e.p[lo:hi], root: room[:n], residual: room[n : 2*n], t0: e.t[lo], step: e.stepS, free: e.free, rough: mostRough, pr: pr}
	for i := range d.slopes {
		d.slopes[i] = room[(2+i)*n : (3+i)*n]
	}
	return d
}

// fit adjusts m to the envelope's points lo..hi-1 by least squares, the weights
// following the model.
func (e envelope) fit(m model, lo, hi int, pr prior) fitted {
	d := e.dataOf(lo, hi, pr)
	damping := 1e-2
	for range 8 {
		d.weigh(m)
		var gain float64
		m, damping, gain = d.descend(m, damping)
		d.rough = d.roughness(m)
		if gain < settled && damping < 1 {
			break
		}
	}
	return e.appraise(m, d)
}

// weigh sets the weights to what the model expects of the scatter: that of
// noise with and without signal, over the independent looks, and roughness.
func (d *data) weigh(m model) {
	n, w := m.noise(), m.walk(d.t0, d.step)
	for k := range d.root {
		s := w.power()
		d.root[k] = 1 / math.Sqrt((n*n+2*s*n)/d.free+d.rough*d.rough*s*s)
		w.next()
	}
}

// roughness is the scatter about m that noise does not explain.
func (d *data) roughness(m model) float64 {
	n, w := m.noise(), m.walk(d.t0, d.step)
	sum, count := 0.0, 0.0
	for _, v := range d.p {
		if s := w.power(); s > clearOfNoise*n {
			r, share := (v-s-n)/s, n/s
			sum += r*r - (share*share+2*share)/d.free
			count++
		}
		w.next()
	}
	return min(mostRough, math.Sqrt(max(sum/max(count, 1), leastRough*leastRough)))
}

// descend minimises the weighted squares by damped Gauss-Newton steps: a few,
// for the weights are to follow. It returns the damping to go on with and the
// share of the squares gained.
func (d *data) descend(m model, damping float64) (model, float64, float64) {
	q := d.equations(m)
	first := q.cost
	for range 5 {
		next, ok := m.step(q, damping, math.Pi/d.step)
		if !ok {
			damping = min(8*damping, 1e7)
			continue
		}
		tried := d.equations(next)
		if tried.cost >= q.cost {
			damping = min(8*damping, 1e7)
			continue
		}
		done := q.cost-tried.cost < settled*q.cost
		m, q, damping = next, tried, max(damping/8, 1e-9)
		if done {
			break
		}
	}
	return m, damping, 1 - q.cost/first
}

// settled is a gain too small to matter, as a share of the squares.
const settled = 1e-5

// equations are the normal equations of a Gauss-Newton step, upper triangle,
// and the sum of the weighted squares.
type equations struct {
	left  square
	right [mostParams]float64
	n     int
	cost  float64
}

func (d *data) equations(m model) equations {
	q := equations{n: m.kind.params()}
	d.lineUp(m)
	q.cost = floats.Dot(d.residual, d.residual)
	for i, slope := range d.slopes[:q.n] {
		q.right[i] = floats.Dot(slope, d.residual)
		for j := i; j < q.n; j++ {
			q.left[i][j] = floats.Dot(slope, d.slopes[j])
		}
	}
	off, certainty := d.pr.lnN-m.lnN, 1/(d.pr.sd*d.pr.sd)
	q.left[atLnN][atLnN] += certainty
	q.right[atLnN] += certainty * off
	q.cost += certainty * off * off
	if m.kind != single && d.pr.apart > 0 {
		q.cost += q.expect(m, d.pr)
	}
	if math.IsNaN(q.cost) {
		q.cost = math.Inf(1)
	}
	return q
}

// lineUp fills in what the points say of m, weighted.
func (d *data) lineUp(m model) {
	w, noise, t := m.walk(d.t0, d.step), m.noise(), d.t0
	n, g := len(d.p), &d.slopes
	p, residual, lnN := d.p[:n], d.residual[:n], g[atLnN][:n]
	lnA, a := g[atLnA][:n], g[atA][:n]
	lnB, b, diff, phi := g[atLnB][:n], g[atB][:n], g[atD][:n], g[atPhi][:n]
	for k, root := range d.root[:n] {
		residual[k], lnN[k] = root*(p[k]-w.power()-noise), root*noise
		half := real(w.beat) / 2
		lnA[k] = root * (w.a + half)
		a[k] = -2 * t * lnA[k]
		if m.kind != single {
			lnB[k], phi[k] = root*(w.b+half), -root*imag(w.beat)
			b[k], diff[k] = -2*t*lnB[k], t*phi[k]
		}
		w.next()
		t += d.step
	}
}

// expect adds what is known of the second component, and returns its cost.
func (q *equations) expect(m model, pr prior) float64 {
	rate, level := 1/(pr.apart*pr.apart), 1/(secondLnSD*secondLnSD)
	offRate, offLevel := pr.rate-m.b, m.lnA+secondLn-m.lnB
	q.left[atB][atB] += rate
	q.right[atB] += rate * offRate
	q.left[atLnA][atLnA] += level
	q.left[atLnB][atLnB] += level
	q.left[atLnA][atLnB] -= level
	q.right[atLnA] -= level * offLevel
	q.right[atLnB] += level * offLevel
	return rate*offRate*offRate + level*offLevel*offLevel
}

// column is exp(-2 rate t) cos(omega t + phase), one part of a model whose
// rates are given.
type column struct{ rate, omega, phase float64 }

// project finds the level of each column and of the noise that minimise the
// weighted squares, and those.
func (d *data) project(columns []column) (levels [mostParams]float64, cost float64, ok bool) {
	n := len(columns) + 1
	var now, turn [mostParams]complex128
	for i, c := range columns {
		now[i] = cmplx.Rect(math.Exp(-2*c.rate*d.t0), c.omega*d.t0+c.phase)
		turn[i] = cmplx.Rect(math.Exp(-2*c.rate*d.step), c.omega*d.step)
	}
	now[n-1], turn[n-1] = 1, 1
	var left square
	for k, v := range d.p {
		w := d.root[k] * d.root[k]
		cost += w * v * v
		for i := range n {
			gi := w * real(now[i])
			levels[i] += gi * v
			for j := i; j < n; j++ {
				left[i][j] += gi * real(now[j])
			}
		}
		for i := range n {
			now[i] *= turn[i]
		}
	}
	right := levels
	if !left.factorize(n) {
		return levels, 0, false
	}
	left.solve(n, &levels)
	for i := range n {
		cost -= levels[i] * right[i]
	}
	return levels, cost, true
}

// step takes one damped step; false where the equations are singular, a decay
// becomes a rise or a beat faster than the points can show, rad/s.
func (m model) step(q equations, lambda, fastest float64) (model, bool) {
	for i := range q.n {
		q.left[i][i] = q.left[i][i]*(1+lambda) + 1e-12
	}
	if !q.left.factorize(q.n) {
		return m, false
	}
	q.left.solve(q.n, &q.right)
	for i, dx := range q.right[:q.n] {
		*m.param(i) += dx
	}
	return m, m.a > -1 && m.b > -1 && math.Abs(m.d) < fastest
}

// appraise finds the covariance of the parameters and the fit's quality.
func (e envelope) appraise(m model, d data) fitted {
	n := len(d.p)
	f := fitted{model: m}
	res := make([]float64, n)
	w, noise := m.walk(d.t0, d.step), m.noise()
	for k, v := range d.p {
		res[k] = (v - w.power() - noise) * d.root[k]
		f.chi2 += res[k] * res[k] / float64(n)
		f.lnVar -= 2 * math.Log(d.root[k]) / float64(n)
		w.next()
	}
	f.excess = max(0, (m.lnN-d.pr.lnN)/d.pr.sd)
	f.excess *= f.excess
	if m.kind != single && d.pr.apart > 0 {
		f.excess += new(equations).expect(m, d.pr)
	}
	f.together = max(e.correlated(), correlation(res))
	f.looks = max(1, float64(n)/f.together)
	left := max(1, f.looks-float64(m.kind.params()))
	f.cov, f.known = d.equations(m).left.inverse(m.kind.params(), f.chi2*f.together*f.looks/left)
	return f
}

// correlation is the sum of the residuals' autocorrelation, up to where it
// first turns negative: how many neighbours tell one thing.
func correlation(res []float64) float64 {
	var0 := 0.0
	for _, r := range res {
		var0 += r * r
	}
	sum := 1.0
	for lag := 1; lag < len(res)/2 && var0 > 0; lag++ {
		c := 0.0
		for k, r := range res[lag:] {
			c += r * res[k]
		}
		if c <= 0 {
			break
		}
		sum += 2 * c / var0
	}
	return sum
}

// sdOf is the standard error of parameter i.
func (f fitted) sdOf(i int) float64 {
	if !f.known {
		return math.Inf(1)
	}
	return math.Sqrt(f.cov[i][i])
}

// badness is the Bayesian information criterion over that many independent
// points: lower is better. The scatter expected of a point is part of it, and
// so is what was known beforehand: a slow late decay that passes for noise
// shows by less scatter than noise has, and by more noise than lies beside.
func (f fitted) badness(looks float64) float64 {
	return f.excess + looks*(f.lnVar+f.chi2) + float64(f.kind.params())*math.Log(max(2, looks))
}
