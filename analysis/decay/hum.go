package decay

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// removeHum takes the known mains lines inside the filter's band out of f.
// Their phasors are fitted by weighted least squares with the note as the
// disturbance, so that they are read where the note has died away. It returns
// the power of the lines that could not be told from the note.
func (f *filtered) removeHum(o Options, floor float64) float64 {
	var lines []float64
	for _, hz := range o.HumHz {
		if math.Abs(hz-o.Hz) < windowLobe/f.lengthS {
			lines = append(lines, 2*math.Pi*(hz-o.Hz))
		}
	}
	if len(lines) == 0 || len(f.z) < 8*(len(lines)+1) {
		return 0
	}
	weight := f.humWeights(floor)
	c, sd, ok := f.fitLines(lines, weight)
	if !ok {
		return 0
	}
	left := 0.0
	for j, omega := range lines {
		if cmplx.Abs(c[j]) < 3*sd[j] {
			left += 4 * sd[j] * sd[j]
			continue
		}
		for k := range f.z {
			f.z[k] -= c[j] * cmplx.Exp(complex(0, omega*float64(k)*f.hopS))
		}
	}
	return left
}

// humWeights is one over the squared power at each point, smoothed over the
// filter's length: little where the note is loud.
func (f *filtered) humWeights(floor float64) []float64 {
	p := make([]float64, len(f.z))
	for k, z := range f.z {
		p[k] = 4 * real(z*cmplx.Conj(z))
	}
	p = smooth(p, 16)
	for k, v := range p {
		p[k] = 1 / (v + floor + 1e-20)
		p[k] *= p[k]
	}
	return p
}

// fitLines returns each line's phasor and the standard error of its size.
func (f *filtered) fitLines(omega []float64, weight []float64) ([]complex128, []float64, bool) {
	n := 2 * len(omega)
	ata, atb := mat.NewSymDense(n, nil), make([]float64, n)
	row := func(k int, im bool) []float64 {
		r := make([]float64, n)
		for j, w := range omega {
			s, c := math.Sincos(w * float64(k) * f.hopS)
			if im {
				r[2*j], r[2*j+1] = s, c
			} else {
				r[2*j], r[2*j+1] = c, -s
			}
		}
		return r
	}
	each := func(visit func(r []float64, y, w float64)) {
		for k, z := range f.z {
			visit(row(k, false), real(z), weight[k])
			visit(row(k, true), imag(z), weight[k])
		}
	}
	each(func(r []float64, y, w float64) {
		for i := range n {
			atb[i] += w * r[i] * y
			for j := i; j < n; j++ {
				ata.SetSym(i, j, ata.At(i, j)+w*r[i]*r[j])
			}
		}
	})
	var ch mat.Cholesky
	if !ch.Factorize(ata) {
		return nil, nil, false
	}
	var sol mat.VecDense
	if ch.SolveVecTo(&sol, mat.NewVecDense(n, atb)) != nil {
		return nil, nil, false
	}
	sum, sumW := 0.0, 0.0
	each(func(r []float64, y, w float64) {
		d := y
		for i := range n {
			d -= r[i] * sol.AtVec(i)
		}
		sum += w * d * d
		sumW += w
	})
	var inv mat.SymDense
	if ch.InverseTo(&inv) != nil {
		return nil, nil, false
	}
	// Neighbouring values share most of their window: four tell one thing.
	scale := 4 * sum / float64(2*len(f.z)-n)
	out, sd := make([]complex128, len(omega)), make([]float64, len(omega))
	for j := range omega {
		out[j] = complex(sol.AtVec(2*j), sol.AtVec(2*j+1))
		sd[j] = math.Sqrt(scale * inv.At(2*j, 2*j))
	}
	return out, sd, true
}
