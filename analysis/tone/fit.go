package tone

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// baseRate is the rate, in values a second, of the tone shifted to zero
// frequency: far more than a line's width, far less than the sample rate.
const baseRate = 150.0

// damped is one line, c exp((-alpha + i omega) t), with standard errors.
type damped struct {
	c               complex128
	alpha, omega    float64 // 1/s, rad/s
	alphaSD, omegaS float64
}

// shift multiplies x by exp(-2 pi i hz t) and averages it by a triple moving
// average over d samples, one value in d. Value k is centred on sample
// k d + (3d-2)/2.
func shift(x []float64, rateHz, hz float64, d int) []complex128 {
	w := spline(d)
	blocks := len(x) / d
	if blocks < 3 {
		return nil
	}
	re, im := make([]float64, 3*d), make([]float64, 3*d)
	omega := 2 * math.Pi * hz / rateHz
	for i, v := range w {
		s, c := math.Sincos(omega * float64(i%d))
		re[i], im[i] = v*c, -v*s
	}
	out := make([]complex128, blocks)
	for k := range blocks {
		s, c := math.Sincos(math.Mod(omega*float64(d)*float64(k), 2*math.Pi))
		for j := 0; j < 3 && j <= k; j++ {
			var a, b float64
			rj, ij := re[j*d:(j+1)*d], im[j*d:(j+1)*d]
			for i, v := range x[k*d : (k+1)*d] {
				a += v * rj[i]
				b += v * ij[i]
			}
			out[k-j] += complex(c, -s) * complex(a, b)
		}
	}
	return out[:blocks-2]
}

// spline is the triple moving average over n samples, with sum 1.
func spline(n int) []float64 {
	w := []float64{1}
	for range 3 {
		next := make([]float64, len(w)+n-1)
		for i, v := range w {
			for k := range n {
				next[i+k] += v / float64(n)
			}
		}
		w = next
	}
	return append(w, make([]float64, 3*n-len(w))...)
}

// converged is the change of phase over the record, in radians, that ends a fit.
const converged = 1e-9

// fitDamped fits one damped line to z, values stepS apart.
func fitDamped(z []complex128, stepS float64) damped {
	return fitLines(z, stepS, []damped{startOf(z, stepS)})[0]
}

// fitLines fits all lines together by Gauss-Newton, from the starts given.
func fitLines(z []complex128, stepS float64, lines []damped) []damped {
	lines = slices.Clone(lines)
	n := 4 * len(lines)
	var inv mat.SymDense
	for range 12 {
		ata, atb := normal(z, stepS, lines)
		var ch mat.Cholesky
		var dx mat.VecDense
		if !ch.Factorize(ata) || ch.SolveVecTo(&dx, mat.NewVecDense(n, atb)) != nil || ch.InverseTo(&inv) != nil {
			break
		}
		for l := range lines {
			lines[l].c *= cmplx.Exp(complex(dx.AtVec(4*l), dx.AtVec(4*l+1)))
			lines[l].alpha += dx.AtVec(4*l + 2)
			lines[l].omega += dx.AtVec(4*l + 3)
		}
		if math.Abs(dx.AtVec(3))*stepS*float64(len(z)) < converged {
			break
		}
	}
	if inv.SymmetricDim() != n {
		return lines
	}
	// Variance of each real part of z, from the noise density at the line.
	v := lines[0].noise(without(z, stepS, lines), stepS) / 2
	for l := range lines {
		lines[l].alphaSD = math.Sqrt(v * inv.At(4*l+2, 4*l+2))
		lines[l].omegaS = math.Sqrt(v * inv.At(4*l+3, 4*l+3))
	}
	return lines
}

// startOf reads the line off the spectrum of z and the slope of its level.
func startOf(z []complex128, stepS float64) damped {
	n := 1
	for n < 2*len(z) {
		n *= 2
	}
	seq := make([]complex128, n)
	copy(seq, z)
	fft := fourier.NewCmplxFFT(n)
	c := fft.Coefficients(nil, seq)
	at := 0
	for k := range c {
		if cmplx.Abs(c[k]) > cmplx.Abs(c[at]) {
			at = k
		}
	}
	d := damped{omega: 2 * math.Pi * fft.Freq(at) / stepS}
	early, late := 0.0, 0.0
	half := len(z) / 2
	for k := range half {
		early += real(z[k] * cmplx.Conj(z[k]))
		late += real(z[half+k] * cmplx.Conj(z[half+k]))
	}
	d.alpha = math.Log(early/max(late, 1e-12*early)) / (2 * float64(half) * stepS)
	var num complex128
	den := 0.0
	for k := range z {
		e := cmplx.Exp(complex(-d.alpha, d.omega) * complex(float64(k)*stepS, 0))
		num += z[k] * cmplx.Conj(e)
		den += real(e * cmplx.Conj(e))
	}
	d.c = num / complex(den, 0)
	return d
}

func (d damped) at(t float64) complex128 {
	return d.c * cmplx.Exp(complex(-d.alpha, d.omega)*complex(t, 0))
}

// normal is J'J and J'r for each line's log size, phase, alpha and omega.
func normal(z []complex128, stepS float64, lines []damped) (*mat.SymDense, []float64) {
	n := 4 * len(lines)
	a, b := make([]float64, n*n), make([]float64, n)
	g := make([]complex128, n)
	for k := range z {
		t := float64(k) * stepS
		r := z[k]
		for l, d := range lines {
			m := d.at(t)
			r -= m
			turned := complex(-imag(m), real(m))
			g[4*l], g[4*l+1], g[4*l+2], g[4*l+3] = m, turned, -m*complex(t, 0), turned*complex(t, 0)
		}
		for i, u := range g {
			b[i] += real(u)*real(r) + imag(u)*imag(r)
			row := a[i*n : (i+1)*n]
			for j := i; j < n; j++ {
				row[j] += real(u)*real(g[j]) + imag(u)*imag(g[j])
			}
		}
	}
	return mat.NewSymDense(n, a), b
}

// without is z less the lines.
func without(z []complex128, stepS float64, lines []damped) []complex128 {
	out := slices.Clone(z)
	for k := range out {
		for _, d := range lines {
			out[k] -= d.at(float64(k) * stepS)
		}
	}
	return out
}

// noise is the variance of the residual that white noise of the density found near the
// line would have: the larger of the line's foot and its surroundings.
func (d damped) noise(rest []complex128, stepS float64) float64 {
	w := hann(len(rest))
	r := make([]complex128, len(rest))
	norm := 0.0
	for k := range rest {
		r[k] = rest[k] * cmplx.Exp(complex(0, -d.omega*float64(k)*stepS)) * complex(w[k], 0)
		norm += w[k] * w[k]
	}
	fft := fourier.NewCmplxFFT(len(r))
	c := fft.Coefficients(nil, r)
	foot, n := 0.0, 0
	var around []float64
	for k, v := range c {
		p := real(v*cmplx.Conj(v)) / norm
		switch f := math.Abs(fft.Freq(k)) / stepS; {
		case f*float64(len(rest))*stepS < 3.5:
			foot += p
			n++
		case f < 0.15*baseRate:
			around = append(around, p)
		}
	}
	if len(around) == 0 {
		return foot / float64(n)
	}
	level := median(around) / math.Ln2
	// The foot is seven values less four fitted ones: only a clear excess counts.
	if foot /= float64(n); foot > 3*level {
		return foot
	}
	return level
}

func median(p []float64) float64 {
	s := slices.Clone(p)
	slices.Sort(s)
	return s[len(s)/2]
}
