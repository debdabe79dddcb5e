package stats

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Line is y = Intercept + Slope x fitted by least squares.
type Line struct {
	Slope, Intercept     float64
	SlopeSE, InterceptSE float64 // standard errors; NaN for two points
	ResidualSD           float64 // divisor n-2
	RSquared             float64
	N                    int
}

// At is the line's height at x.
func (l Line) At(x float64) float64 { return l.Intercept + l.Slope*x }

// SlopeInterval is the slope's interval at coverage for independent normal
// errors; nil below three points.
func (l Line) SlopeInterval(coverage float64) *Interval {
	if l.N < 3 {
		return nil
	}
	half := quantile(coverage, float64(l.N-2)) * l.SlopeSE
	return &Interval{l.Slope - half, l.Slope + half, coverage}
}

// FitLine fits a line by least squares. It wants two different x.
func FitLine(x, y []float64) (Line, error) {
	powers := make([][]float64, len(x))
	for i, v := range x {
		powers[i] = []float64{1, v}
	}
	fit, err := FitLinear(powers, y)
	if err != nil {
		return Line{}, fmt.Errorf("line: %w", err)
	}
	mean := compensatedMean(y)
	total := 0.0
	for _, v := range y {
		total += (v - mean) * (v - mean)
	}
	return Line{
		Slope: fit.Params[1], Intercept: fit.Params[0], SlopeSE: fit.SE[1], InterceptSE: fit.SE[0],
		ResidualSD: fit.ResidualSD, RSquared: 1 - fit.RSS/total, N: len(y),
	}, nil
}

// FitLinear is least squares of y on the columns of rows, by QR of columns
// scaled to unit length.
func FitLinear(rows [][]float64, y []float64) (Fit, error) {
	if len(rows) != len(y) {
		return Fit{}, fmt.Errorf("%d rows, but %d values", len(rows), len(y))
	}
	if len(rows) == 0 || len(rows) < len(rows[0]) {
		return Fit{}, fmt.Errorf("%d values are too few", len(rows))
	}
	m, p := len(rows), len(rows[0])
	a := mat.NewDense(m, p, nil)
	for i, r := range rows {
		a.SetRow(i, r)
	}
	params, cov, err := solve(a, y)
	if err != nil {
		return Fit{}, err
	}
	rss := 0.0
	for i, r := range rows {
		d := y[i]
		for j, v := range r {
			d -= v * params[j]
		}
		rss += d * d
	}
	if !finite(rss) {
		return Fit{}, fmt.Errorf("values are not finite")
	}
	return newFit(params, cov, rss, m-p), nil
}

// solve is the least-squares solution of a x = y and the inverse of a'a.
func solve(a *mat.Dense, y []float64) ([]float64, *mat.SymDense, error) {
	m, p := a.Dims()
	scaled, scale := mat.DenseCopyOf(a), make([]float64, p)
	for j := range scale {
		scale[j] = mat.Norm(a.ColView(j), 2)
		if scale[j] == 0 || math.IsNaN(scale[j]) {
			return nil, nil, fmt.Errorf("column %d says nothing", j)
		}
		for i := range m {
			scaled.Set(i, j, a.At(i, j)/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(scaled)
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, mat.NewVecDense(m, y)); err != nil {
		return nil, nil, fmt.Errorf("values do not tell the parameters apart: %w", err)
	}
	var r mat.Dense
	qr.RTo(&r)
	var upper mat.TriDense
	if err := upper.InverseTri(triangle(&r, p)); err != nil {
		return nil, nil, fmt.Errorf("values do not tell the parameters apart: %w", err)
	}
	cov := mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			sum := 0.0
			for k := j; k < p; k++ {
				sum += upper.At(i, k) * upper.At(j, k)
			}
			cov.SetSym(i, j, sum/(scale[i]*scale[j]))
		}
	}
	params := make([]float64, p)
	for j := range params {
		params[j] = x.AtVec(j) / scale[j]
	}
	return params, cov, nil
}

func triangle(r *mat.Dense, p int) *mat.TriDense {
	t := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			t.SetTri(i, j, r.At(i, j))
		}
	}
	return t
}

// TheilSen is the median of the slopes between all pairs of points with
// different x, and their median intercept (Theil 1950; Sen, Journal of the
// American Statistical Association 63, 1379-1389, 1968): up to 29 % of the
// points may be anything. NaN without two different x.
func TheilSen(x, y []float64) (slope, intercept float64) {
	var slopes []float64
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	slope = Median(slopes)
	rest := slices.Clone(y)
	for i := range rest {
		rest[i] -= slope * x[i]
	}
	return slope, Median(rest)
}

// quantile is the two-sided quantile at coverage of Student's t, of the
// normal distribution where df is 0.
func quantile(coverage, df float64) float64 {
	if df == 0 {
		return Normal(coverage)
	}
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile((1 + coverage) / 2)
}
