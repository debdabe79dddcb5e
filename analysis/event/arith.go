package event

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"

	"saddlewise/analysis/signal"
)

// mean is 0 for none.
func mean(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return signal.Sum(x) / float64(len(x))
}

func rms(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return math.Sqrt(floats.Dot(x, x) / float64(len(x)))
}

// solve puts the solution of gram y = rhs into rhs; gram is symmetric, its
// upper triangle is read and lost. False when it is not positive definite.
func solve(gram, rhs []float64) bool {
	n := len(rhs)
	t, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Upper, N: n, Stride: n, Data: gram})
	if ok {
		lapack64.Potrs(t, blas64.General{Rows: n, Cols: 1, Stride: 1, Data: rhs})
	}
	return ok
}
