package tone

import (
	"math"
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
	c                complex128
	alpha, omega     float64 // 1/s, rad/s
	alphaSD, omegaSD float64
}

// converged is the change of phase over the record, in radians, that ends a fit.
const converged = 1e-9

// fitDamped fits one damped line to z, values stepS apart.
func fitDamped(z []complex128, stepS float64) damped {
	return fitLines(z, stepS, []damped{startOf(z, stepS)})[0]
}

// fitLines fits all lines together by Gauss-Newton, from the starts given. The
// standard errors are those that noise of variance 1 in each real part makes.
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
	for l := range lines {
		lines[l].alphaSD, lines[l].omegaSD = math.Sqrt(inv.At(4*l+2, 4*l+2)), math.Sqrt(inv.At(4*l+3, 4*l+3))
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
	e, turn := 1+0i, d.turn(stepS)
	for _, v := range z {
		num += v * cmplx.Conj(e)
		den += real(e * cmplx.Conj(e))
		e *= turn
	}
	d.c = num / complex(den, 0)
	return d
}

// turn is what the line is multiplied by in stepS.
func (d damped) turn(stepS float64) complex128 {
	return cmplx.Exp(complex(-d.alpha*stepS, d.omega*stepS))
}

// A line's derivatives by its log size, phase, alpha and omega are the line
// times these, and the last two also times -t and t.
var (
	factors = [4]complex128{1, 1i, -1, 1i}
	ofTime  = [4]int{0, 0, 1, 1} // power
)

// normal is J'J and J'r for each line's log size, phase, alpha and omega. All
// follow from the lines' products with each other and with what they leave,
// times 1, t and t².
func normal(z []complex128, stepS float64, lines []damped) (*mat.SymDense, []float64) {
	n := len(lines)
	pairs, rests := make([][3]complex128, n*n), make([][2]complex128, n)
	now, turn := make([]complex128, n), make([]complex128, n)
	for l, d := range lines {
		now[l], turn[l] = d.c, d.turn(stepS)
	}
	for k, r := range z {
		t := complex(float64(k)*stepS, 0)
		for _, m := range now {
			r -= m
		}
		for l, m := range now {
			own := cmplx.Conj(m)
			p := own * r
			rests[l][0], rests[l][1] = rests[l][0]+p, rests[l][1]+t*p
			for q, other := range now[l:] {
				p, sums := own*other, &pairs[l*n+l+q]
				sums[0], sums[1], sums[2] = sums[0]+p, sums[1]+t*p, sums[2]+t*t*p
			}
		}
		for l := range now {
			now[l] *= turn[l]
		}
	}
	ata, atb := mat.NewSymDense(4*n, nil), make([]float64, 4*n)
	for i := range atb {
		own := cmplx.Conj(factors[i%4])
		atb[i] = real(own * rests[i/4][ofTime[i%4]])
		for j := i; j < 4*n; j++ {
			ata.SetSym(i, j, real(own*factors[j%4]*pairs[i/4*n+j/4][ofTime[i%4]+ofTime[j%4]]))
		}
	}
	return ata, atb
}

// without is z less the lines.
func without(z []complex128, stepS float64, lines []damped) []complex128 {
	out := slices.Clone(z)
	for _, d := range lines {
		line, turn := d.c, d.turn(stepS)
		for k := range out {
			out[k] -= line
			line *= turn
		}
	}
	return out
}

// turned is z shifted down by omega.
func turned(z []complex128, stepS, omega float64) []complex128 {
	out := make([]complex128, len(z))
	by, turn := 1+0i, cmplx.Rect(1, -omega*stepS)
	for k, v := range z {
		out[k] = v * by
		by *= turn
	}
	return out
}

// noise is the variance of the residual that white noise of the density found near the
// line would have: the larger of the line's foot and its surroundings.
func (d damped) noise(rest []complex128, stepS float64) float64 {
	hz, power := hannPowers(turned(rest, stepS, d.omega), stepS)
	foot, n := 0.0, 0
	var around []float64
	for k, p := range power {
		switch f := math.Abs(hz[k]); {
		case f*float64(len(rest))*stepS < 3.5:
			foot += p
			n++
		case f < 0.15*baseRate:
			by := droop(hz[k]+d.omega/(2*math.Pi), stepS)
			around = append(around, p/(by*by))
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
	r := math.Sin(x) / x
	return r * r * r
}

// powersOf is the power of z, padded to at least n values, at each frequency,
// from 0 up and then the negative ones.
func powersOf(z []complex128, n int, stepS float64) (hz, power []float64) {
	n = signal.PowerOfTwo(n)
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
