package decay

import "math"

// square is a symmetric matrix of the parameters, small enough to live on the
// stack. Only its upper triangle counts.
type square [mostParams][mostParams]float64

// singular is the share of a diagonal element left after the rows above it
// have been taken off, at which its parameter cannot be told from theirs.
const singular = 1e-9

// factorize replaces the leading n rows by Cholesky's factor R, s = R'R;
// false where s is not positive definite.
func (s *square) factorize(n int) bool {
	for i := range n {
		for j := i; j < n; j++ {
			v := s[i][j]
			for k := range i {
				v -= s[k][i] * s[k][j]
			}
			if j > i {
				s[i][j] = v / s[i][i]
				continue
			}
			if !(v > singular*s[i][i]) || math.IsInf(v, 0) {
				return false
			}
			s[i][i] = math.Sqrt(v)
		}
	}
	return true
}

// solve replaces x by the solution of R'R y = x.
func (s *square) solve(n int, x *[mostParams]float64) {
	for i := range n {
		for k := range i {
			x[i] -= s[k][i] * x[k]
		}
		x[i] /= s[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= s[i][k] * x[k]
		}
		x[i] /= s[i][i]
	}
}

// inverse is scale times the inverse, both triangles; false where there is none.
func (s square) inverse(n int, scale float64) (square, bool) {
	if !s.factorize(n) {
		return square{}, false
	}
	var out square
	for i := range n {
		out[i][i] = scale
		s.solve(n, &out[i])
	}
	return out, true
}
