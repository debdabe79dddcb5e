package decay

import "math"

// fitted is a model with what the fit says of it.
type fitted struct {
	model
	cov    square  // of the parameters, autocorrelation allowed for
	known  bool    // cov is: the equations are not singular
	chi2   float64 // mean squared weighted residual
	excess float64 // noise above what is known of it, in its standard errors
	lnVar  float64 // mean log variance of a point
	tail   float64 // mean squared weighted residual where noise rules; 1 when that is not seen
	points int
	looks  float64 // independent points
	// together is how many neighbouring residuals tell one thing.
	together float64
}

// prior is what is known of ln N beforehand.
type prior struct{ lnN, sd float64 }

// rough is the share of the signal's power that its envelope may stray from
// any smooth decay.
const rough = 0.04

// data is what a model is fitted to: powers at equally spaced times.
type data struct {
	p, weight []float64 // weight is one over the variance
	t0, step  float64
	pr        prior
}

// fit adjusts m to the envelope's points lo..hi-1. The scatter of one point is
// that of noise with and without signal, over the independent looks in it.
func (e envelope) fit(m model, lo, hi int, pr prior) fitted {
	d := data{e.p[lo:hi], make([]float64, hi-lo), e.t[lo], e.stepS, pr}
	for range 4 {
		d.weigh(m, e.free)
		before := m
		m = d.descend(m)
		if math.Abs(m.a-before.a) < 1e-4*math.Abs(m.a) && math.Abs(m.lnN-before.lnN) < 1e-3 {
			break
		}
	}
	return e.appraise(m, d)
}

// weigh sets the weights to what the model expects of the scatter.
func (d *data) weigh(m model, free float64) {
	n, w := m.noise(), m.walk(d.t0, d.step)
	for k := range d.weight {
		s := w.power()
		d.weight[k] = 1 / ((n*n+2*s*n)/free + rough*rough*s*s)
		w.next()
	}
}

// descend minimises the weighted squares by damped Gauss-Newton steps.
func (d *data) descend(m model) model {
	eq := d.equations(m)
	lambda := 1e-2
	for range 25 {
		next, ok := m.step(eq, lambda)
		if ok {
			if tried := d.equations(next); tried.cost < eq.cost {
				done := eq.cost-tried.cost < 1e-7*eq.cost
				m, eq, lambda = next, tried, max(lambda/8, 1e-9)
				if done {
					break
				}
				continue
			}
		}
		if lambda *= 8; lambda > 1e7 {
			break
		}
	}
	return m
}

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
	w, noise, t := m.walk(d.t0, d.step), m.noise(), d.t0
	var g [mostParams]float64
	for k, v := range d.p {
		r, weight := v-w.power()-noise, d.weight[k]
		w.gradient(t, &g)
		g[atLnN] = noise
		q.cost += weight * r * r
		for i, gi := range g[:q.n] {
			gi *= weight
			q.right[i] += gi * r
			row := &q.left[i]
			for j := i; j < q.n; j++ {
				row[j] += gi * g[j]
			}
		}
		w.next()
		t += d.step
	}
	off, certainty := d.pr.lnN-m.lnN, 1/(d.pr.sd*d.pr.sd)
	q.left[atLnN][atLnN] += certainty
	q.right[atLnN] += certainty * off
	q.cost += certainty * off * off
	if math.IsNaN(q.cost) {
		q.cost = math.Inf(1)
	}
	return q
}

// step takes one damped step; false where the equations are singular.
func (m model) step(q equations, lambda float64) (model, bool) {
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
	return m, m.a > -1 && m.b > -1
}

// appraise finds the covariance of the parameters and the fit's quality.
func (e envelope) appraise(m model, d data) fitted {
	n := len(d.p)
	f := fitted{model: m, points: n, excess: max(0, (m.lnN-d.pr.lnN)/d.pr.sd), tail: 1}
	res := make([]float64, n)
	w, noise := m.walk(d.t0, d.step), m.noise()
	tail, tails := 0.0, 0.0
	for k, v := range d.p {
		s := w.power()
		res[k] = (v - s - noise) * math.Sqrt(d.weight[k])
		f.chi2 += res[k] * res[k] / float64(n)
		f.lnVar -= math.Log(d.weight[k]) / float64(n)
		if s < noise {
			tail, tails = tail+res[k]*res[k], tails+1
		}
		w.next()
	}
	if tails >= 8 {
		// Noise makes about 1; far less is a smooth decay that passes for noise.
		f.tail = tail / tails
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
// points: lower is better. A slow late decay that passes for noise shows by
// more noise than lies beside the partial, and by too little scatter.
func (f fitted) badness(looks float64) float64 {
	return f.excess*f.excess + looks*(f.lnVar+math.Log(f.chi2+1e-12)) + float64(f.kind.params())*math.Log(max(2, looks))
}
