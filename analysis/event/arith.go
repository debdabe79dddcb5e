package event

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"

	"saddlewise/analysis/signal"
)

// median works on a copy and takes linear time. Of an even number it is the
// upper of the middle two. 0 when x is empty.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return signal.Nth(slices.Clone(x), len(x)/2)
}

// mean is 0 for none.
func mean(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return floats.Sum(x) / float64(len(x))
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

// boxcar is x averaged over m samples centred on each (m is made odd).
func boxcar(x []float64, m int) []float64 {
	h := m / 2
	if h == 0 {
		return x
	}
	y := make([]float64, len(x))
	sum, count := 0.0, 0.0
	for i := range min(h, len(x)) {
		sum, count = sum+x[i], count+1
	}
	for i := range y {
		if i+h < len(x) {
			sum, count = sum+x[i+h], count+1
		}
		if i > h {
			sum, count = sum-x[i-h-1], count-1
		}
		y[i] = sum / count
	}
	return y
}
