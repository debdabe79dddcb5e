package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Fit is the outcome of least squares.
type Fit struct {
	Params     []float64
	SE         []float64 // standard errors, NaN without degrees of freedom
	Covariance *mat.SymDense
	RSS        float64 // sum of squared residuals
	ResidualSD float64
	DF         int
}

func newFit(params []float64, inverse *mat.SymDense, rss float64, df int) Fit {
	f := Fit{Params: params, RSS: rss, DF: df, ResidualSD: math.NaN()}
	if df > 0 {
		f.ResidualSD = math.Sqrt(rss / float64(df))
	}
	cov := mat.NewSymDense(len(params), nil)
	cov.ScaleSym(f.ResidualSD*f.ResidualSD, inverse)
	f.Covariance = cov
	f.SE = make([]float64, len(params))
	for j := range f.SE {
		f.SE[j] = math.Sqrt(cov.At(j, j))
	}
	return f
}

// Curve is a model to fit: it writes the residuals at params into res and,
// where jac is not nil, their derivatives (row i, column j: of residual i by
// parameter j).
type Curve func(params, res []float64, jac *mat.Dense)

// ErrNoMinimum says that the iteration did not settle.
var ErrNoMinimum = errors.New("fit did not settle")

const (
	fitSteps     = 2000
	fitTolerance = 1e-14
)

// FitCurve minimises the sum of squares of n residuals from start by the
// Levenberg-Marquardt method with Moré's scaling (Lecture Notes in
// Mathematics 630, 105-116, 1978). On ErrNoMinimum the best point reached is
// returned with it.
func FitCurve(curve Curve, n int, start []float64) (Fit, error) {
	if n < len(start) {
		return Fit{}, fmt.Errorf("%d values are too few for %d parameters", n, len(start))
	}
	d := newDescent(curve, n, start)
	if math.IsNaN(d.rss) || math.IsInf(d.rss, 0) {
		return Fit{}, fmt.Errorf("model is not finite at the start")
	}
	settled := false
	for range fitSteps {
		if settled = d.step(); settled {
			break
		}
	}
	_, cov, err := solve(d.jac, d.res)
	if err != nil {
		return Fit{}, err
	}
	fit := newFit(d.at, cov, d.rss, n-len(start))
	if !settled {
		return fit, ErrNoMinimum
	}
	return fit, nil
}

// Numeric makes a Curve of a function that writes residuals only, with
// central differences.
func Numeric(residuals func(params, res []float64)) Curve {
	var up, down, moved []float64
	return func(params, res []float64, jac *mat.Dense) {
		residuals(params, res)
		if jac == nil {
			return
		}
		if len(up) != len(res) {
			up, down = make([]float64, len(res)), make([]float64, len(res))
		}
		moved = append(moved[:0], params...)
		for j, p := range params {
			h := math.Cbrt(2.2e-16) * math.Max(math.Abs(p), 1e-6)
			moved[j] = p + h
			residuals(moved, up)
			moved[j] = p - h
			residuals(moved, down)
			moved[j] = p
			for i := range res {
				jac.Set(i, j, (up[i]-down[i])/(2*h))
			}
		}
	}
}

// descent is the state of one fit.
type descent struct {
	curve     Curve
	at, try   []float64
	res, next []float64
	jac       *mat.Dense
	scale     []float64
	rss       float64
	lambda    float64
	growth    float64
}

func newDescent(curve Curve, n int, start []float64) *descent {
	p := len(start)
	d := &descent{
		curve: curve, at: append([]float64(nil), start...), try: make([]float64, p),
		res: make([]float64, n), next: make([]float64, n), jac: mat.NewDense(n, p, nil),
		scale: make([]float64, p), lambda: 0.1, growth: 2,
	}
	d.curve(d.at, d.res, d.jac)
	d.rss = sumSquares(d.res)
	d.rescale()
	return d
}

func (d *descent) rescale() {
	for j := range d.scale {
		d.scale[j] = math.Max(d.scale[j], mat.Norm(d.jac.ColView(j), 2))
		if d.scale[j] == 0 {
			d.scale[j] = 1
		}
	}
}

// step tries one damped step and tells whether the fit has settled.
func (d *descent) step() bool {
	delta, err := d.damped()
	if err != nil {
		d.lambda *= 10
		return d.lambda > 1e30
	}
	small := true
	for j, v := range delta {
		d.try[j] = d.at[j] - v
		small = small && math.Abs(v) <= fitTolerance*(math.Abs(d.at[j])+fitTolerance)
	}
	d.curve(d.try, d.next, nil)
	rss := sumSquares(d.next)
	if !(rss <= d.rss) {
		d.lambda *= d.growth
		d.growth *= 2
		return small || d.lambda > 1e30
	}
	gain := (d.rss - rss) / math.Max(d.predicted(delta), math.SmallestNonzeroFloat64)
	still := rss == d.rss
	d.at, d.try = d.try, d.at
	d.curve(d.at, d.res, d.jac)
	d.rss = rss
	d.rescale()
	// Nielsen's rule (IMM-REP-1999-05): damping follows how well the model predicted.
	d.lambda *= math.Max(1.0/3, 1-math.Pow(2*gain-1, 3))
	d.growth = 2
	return small || still && d.lambda < 1e-12 || rss == 0
}

// damped solves the linear problem with damping rows below the Jacobian, on
// columns scaled by their norms.
func (d *descent) damped() ([]float64, error) {
	n, p := d.jac.Dims()
	a := mat.NewDense(n+p, p, nil)
	b := mat.NewVecDense(n+p, nil)
	for i := range n {
		for j := range p {
			a.Set(i, j, d.jac.At(i, j)/d.scale[j])
		}
		b.SetVec(i, d.res[i])
	}
	for j := range p {
		a.Set(n+j, j, math.Sqrt(d.lambda))
	}
	var qr mat.QR
	qr.Factorize(a)
	var x mat.VecDense
	var condition mat.Condition
	if err := qr.SolveVecTo(&x, false, b); err != nil && !errors.As(err, &condition) {
		return nil, err
	}
	delta := make([]float64, p)
	for j := range delta {
		delta[j] = x.AtVec(j) / d.scale[j]
		if math.IsNaN(delta[j]) || math.IsInf(delta[j], 0) {
			return nil, ErrNoMinimum
		}
	}
	d.shorten(delta)
	return delta, nil
}

// shorten keeps the whole step so small that no parameter moves by more than
// twice its size: far from the minimum the linear model promises too much.
func (d *descent) shorten(delta []float64) {
	share := 1.0
	for j, v := range delta {
		if p := math.Abs(d.at[j]); p > 0 && math.Abs(v) > 2*p {
			share = math.Min(share, 2*p/math.Abs(v))
		}
	}
	for j := range delta {
		delta[j] *= share
	}
}

// predicted is by how much the linear model says that delta lowers the sum
// of squares.
func (d *descent) predicted(delta []float64) float64 {
	n, p := d.jac.Dims()
	after := 0.0
	for i := range n {
		r := d.res[i]
		for j := range p {
			r -= d.jac.At(i, j) * delta[j]
		}
		after += r * r
	}
	return d.rss - after
}

func sumSquares(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x * x
	}
	return s
}
