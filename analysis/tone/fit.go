package tone

import (
	"math"
	"math/bits"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"

	"saddlewise/analysis/signal"
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
	hz, power := powersOf(z, 2*len(z), stepS)
	at := 0
	for k, p := range power {
		if p > power[at] {
			at = k
		}
	}
	d := damped{omega: 2 * math.Pi * hz[at]}
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
	turned := make([]complex128, len(rest))
	for k, v := range rest {
		turned[k] = v * cmplx.Exp(complex(0, -d.omega*float64(k)*stepS))
	}
	hz, power := hannPowers(turned, stepS)
	foot, n := 0.0, 0
	var around []float64
	for k, p := range power {
		switch f := math.Abs(hz[k]); {
		case f*float64(len(rest))*stepS < 3.5:
			foot += p
			n++
		case f < 0.15*baseRate:
			around = append(around, p/math.Pow(droop(hz[k]+d.omega/(2*math.Pi), stepS), 2))
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

// droop is by how much the averaging to one value every stepS weakens what
// lies hz off.
func droop(hz, stepS float64) float64 {
	x := math.Pi * hz * stepS
	if x == 0 {
		return 1
	}
	return math.Pow(math.Sin(x)/x, 3)
}

// powersOf is the power of z, padded to at least n values, at each frequency,
// from 0 up and then the negative ones.
func powersOf(z []complex128, n int, stepS float64) (hz, power []float64) {
	n = 1 << bits.Len(uint(n-1))
	padded := make([]complex128, n)
	copy(padded, z)
	hz, power = make([]float64, n), make([]float64, n)
	for k, v := range signal.InPlace(padded) {
		power[k] = real(v)*real(v) + imag(v)*imag(v)
		hz[k] = float64((k+n/2)%n-n/2) / (float64(n) * stepS)
	}
	return hz, power
}

// hannPowers is powersOf under a Hann window, scaled so that noise shows its
// variance.
func hannPowers(z []complex128, stepS float64) (hz, power []float64) {
	w := signal.Hann(len(z))
	windowed := make([]complex128, len(z))
	for k, c := range w.Coefficients {
		windowed[k] = z[k] * complex(c, 0)
	}
	hz, power = powersOf(windowed, len(z), stepS)
	for k := range power {
		power[k] /= w.PowerGain * float64(len(z))
	}
	return hz, power
}

func median(p []float64) float64 {
	s := slices.Clone(p)
	slices.Sort(s)
	return s[len(s)/2]
}
