package decay

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// model is a squared envelope: one or two decaying components that beat, and
// noise power.
//
//	m(t) = A exp(-2 a t) + B exp(-2 b t) + 2 sqrt(A B) exp(-(a+b) t) cos(d t + phi) + N
type model struct {
	lnA, a float64 // ln power, amplitude decay rate 1/s
	lnB, b float64
	d, phi float64 // difference frequency, rad/s
	lnN    float64
	kind   kind
}

type kind int

const (
	single  kind = iota // A, a, N
	twoRate             // A, a, B, b, N; the powers add
	beating             // all
)

// params lists which parameters are free.
func (m *model) params() []*float64 {
	switch m.kind {
	case twoRate:
		return []*float64{&m.lnA, &m.a, &m.lnN, &m.lnB, &m.b}
	case beating:
		return []*float64{&m.lnA, &m.a, &m.lnN, &m.lnB, &m.b, &m.d, &m.phi}
	}
	return []*float64{&m.lnA, &m.a, &m.lnN}
}

// signal is the model without noise.
func (m model) signal(t float64) float64 {
	s := math.Exp(m.lnA - 2*m.a*t)
	if m.kind == single {
		return s
	}
	s2 := math.Exp(m.lnB - 2*m.b*t)
	if m.kind == twoRate {
		return s + s2
	}
	return s + s2 + 2*math.Sqrt(s*s2)*math.Cos(m.d*t+m.phi)
}

func (m model) noise() float64 { return math.Exp(m.lnN) }

// gradient fills g with the derivatives at t and returns the model there.
func (m model) gradient(t float64, g []float64) float64 {
	s, n := math.Exp(m.lnA-2*m.a*t), math.Exp(m.lnN)
	g[0], g[1], g[2] = s, -2*t*s, n
	if m.kind == single {
		return s + n
	}
	s2 := math.Exp(m.lnB - 2*m.b*t)
	g[3], g[4] = s2, -2*t*s2
	if m.kind == twoRate {
		return s + s2 + n
	}
	r := 2 * math.Sqrt(s*s2)
	sn, c := math.Sincos(m.d*t + m.phi)
	g[0] += r * c / 2
	g[1] -= t * r * c
	g[3] += r * c / 2
	g[4] -= t * r * c
	g[5], g[6] = -t*r*sn, -r*sn
	return s + s2 + r*c + n
}

// fitted is a model with what the fit says of it.
type fitted struct {
	model
	cov    *mat.SymDense // of params, autocorrelation allowed for; nil when singular
	chi2   float64       // mean squared weighted residual
	excess float64       // noise above what is known of it, in its standard errors
	lnVar  float64       // mean log variance of a point
	tail   float64       // mean squared weighted residual where noise rules; 1 when that is not seen
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

// fit adjusts m to the envelope's points lo..hi-1. The scatter of one point is
// that of noise with and without signal, over the independent looks in it.
func (e envelope) fit(m model, lo, hi int, pr prior) fitted {
	t, p := e.t[lo:hi], e.p[lo:hi]
	sd := make([]float64, len(t))
	best := m
	for range 4 {
		n := best.noise()
		for k := range t {
			s := best.signal(t[k])
			sd[k] = math.Sqrt((n*n+2*s*n)/e.free + rough*rough*s*s)
		}
		before := best
		best = levenberg(best, t, p, sd, pr)
		if math.Abs(best.a-before.a) < 1e-4*math.Abs(best.a) && math.Abs(best.lnN-before.lnN) < 1e-3 {
			break
		}
	}
	return e.appraise(best, t, p, sd, pr)
}

// levenberg minimises the weighted squares by damped Gauss-Newton steps.
func levenberg(m model, t, p, sd []float64, pr prior) model {
	cost := m.cost(t, p, sd, pr)
	lambda := 1e-2
	for range 25 {
		ata, atb := m.normal(t, p, sd, pr)
		next, ok := m.step(ata, atb, lambda)
		if ok {
			if c := next.cost(t, p, sd, pr); c < cost {
				done := cost-c < 1e-7*cost
				m, cost, lambda = next, c, max(lambda/8, 1e-9)
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

func (m model) cost(t, p, sd []float64, pr prior) float64 {
	s, n := 0.0, m.noise()
	for k, v := range p {
		r := (v - m.signal(t[k]) - n) / sd[k]
		s += r * r
	}
	r := (m.lnN - pr.lnN) / pr.sd
	s += r * r
	if math.IsNaN(s) {
		return math.Inf(1)
	}
	return s
}

// normal is J'J and J'r of the weighted residuals.
func (m model) normal(t, p, sd []float64, pr prior) (*mat.SymDense, []float64) {
	n := len(m.params())
	ata, atb, g := make([]float64, n*n), make([]float64, n), make([]float64, n)
	for k, v := range p {
		r := (v - m.gradient(t[k], g)) / sd[k]
		for i := range n {
			g[i] /= sd[k]
			atb[i] += g[i] * r
			for j := range i + 1 {
				ata[j*n+i] += g[i] * g[j]
			}
		}
	}
	ata[2*n+2] += 1 / (pr.sd * pr.sd)
	atb[2] += (pr.lnN - m.lnN) / (pr.sd * pr.sd)
	return mat.NewSymDense(n, ata), atb
}

// step takes one damped step; false where the equations are singular.
func (m model) step(ata *mat.SymDense, atb []float64, lambda float64) (model, bool) {
	n := len(atb)
	damped := mat.NewSymDense(n, nil)
	damped.CopySym(ata)
	for i := range n {
		damped.SetSym(i, i, ata.At(i, i)*(1+lambda)+1e-12)
	}
	var ch mat.Cholesky
	var dx mat.VecDense
	if !ch.Factorize(damped) || ch.SolveVecTo(&dx, mat.NewVecDense(n, atb)) != nil {
		return m, false
	}
	for i, p := range m.params() {
		*p += dx.AtVec(i)
	}
	return m, m.a > -1 && m.b > -1
}

// appraise finds the covariance of the parameters and the fit's quality.
func (e envelope) appraise(m model, t, p, sd []float64, pr prior) fitted {
	f := fitted{model: m, points: len(t), excess: max(0, (m.lnN-pr.lnN)/pr.sd)}
	res := make([]float64, len(t))
	for k := range t {
		res[k] = (p[k] - m.signal(t[k]) - m.noise()) / sd[k]
		f.chi2 += res[k] * res[k] / float64(len(t))
		f.lnVar += 2 * math.Log(sd[k]) / float64(len(t))
	}
	f.tail = m.tail(t, res)
	together := max(e.correlated(), correlation(res))
	f.together, f.looks = together, max(1, float64(len(t))/together)
	ata, _ := m.normal(t, p, sd, pr)
	var ch mat.Cholesky
	if !ch.Factorize(ata) {
		return f
	}
	var inv mat.SymDense
	if ch.InverseTo(&inv) != nil {
		return f
	}
	left := max(1, f.looks-float64(len(m.params())))
	inv.ScaleSym(f.chi2*together*f.looks/left, &inv)
	f.cov = &inv
	return f
}

// tail is the mean squared weighted residual where noise rules: noise makes
// about 1; far less is a smooth decay that passes for noise.
func (m model) tail(t, res []float64) float64 {
	sum, n := 0.0, 0.0
	for k, r := range res {
		if m.signal(t[k]) < m.noise() {
			sum, n = sum+r*r, n+1
		}
	}
	if n < 8 {
		return 1
	}
	return sum / n
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
		for k := lag; k < len(res); k++ {
			c += res[k] * res[k-lag]
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
	if f.cov == nil {
		return math.Inf(1)
	}
	return math.Sqrt(f.cov.At(i, i))
}

// badness is the Bayesian information criterion over that many independent
// points: lower is better. A slow late decay that passes for noise shows by
// more noise than lies beside the partial, and by too little scatter.
func (f fitted) badness(looks float64) float64 {
	return f.excess*f.excess + looks*(f.lnVar+math.Log(f.chi2+1e-12)) + float64(len(f.params()))*math.Log(max(2, looks))
}
