package pitch

import "math"

// hermitian is a small positive definite system of equations, of which the
// lower triangle is kept, and its Cholesky factor.
type hermitian struct {
	n         int
	a, l      []complex128
	v         []complex128
	diagonals []float64 // of 1/l
}

func (h *hermitian) reset(n int) {
	h.n = n
	h.a, h.l, h.v = resized(h.a, n*n), resized(h.l, n*n), resized(h.v, n)
	h.diagonals = resized(h.diagonals, n)
}

// set is for p >= q.
func (h *hermitian) set(p, q int, v complex128) { h.a[p*h.n+q] = v }

// factor factors the system of the first unknowns with its diagonal raised by
// the share of lambda; it fails where that is not positive definite.
func (h *hermitian) factor(unknowns int, lambda float64) bool {
	n := h.n
	for p := range unknowns {
		row := h.l[p*n : p*n+p+1]
		for q := range row {
			s := h.a[p*n+q]
			if p == q {
				s *= complex(1+lambda, 0)
			}
			other := h.l[q*n : q*n+q+1]
			for k := range q {
				s -= row[k] * conj(other[k])
			}
			if p > q {
				row[q] = s * complex(h.diagonals[q], 0)
				continue
			}
			if !(real(s) > 0) || math.IsInf(real(s), 0) {
				return false
			}
			root := math.Sqrt(real(s))
			row[p], h.diagonals[p] = complex(root, 0), 1/root
		}
	}
	return true
}

// solve is for a factored system, of as many unknowns as b; the result holds
// until the next.
func (h *hermitian) solve(b []complex128) []complex128 {
	n, v := h.n, h.v[:len(b)]
	copy(v, b)
	for p := range v {
		for k := range p {
			v[p] -= h.l[p*n+k] * v[k]
		}
		v[p] *= complex(h.diagonals[p], 0)
	}
	for p := len(v) - 1; p >= 0; p-- {
		for k := p + 1; k < len(v); k++ {
			v[p] -= conj(h.l[k*n+p]) * v[k]
		}
		v[p] *= complex(h.diagonals[p], 0)
	}
	return v
}

// inverse is element p of the diagonal of the factored system's inverse.
func (h *hermitian) inverse(p int) float64 {
	unit := h.v[:h.n]
	clear(unit)
	unit[p] = 1
	return real(h.solve(unit)[p])
}

func conj(z complex128) complex128 { return complex(real(z), -imag(z)) }

func norm(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
