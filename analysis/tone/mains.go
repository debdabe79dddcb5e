package tone

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"saddlewise/analysis/signal"
)

const (
	neighbours   = 2     // mains harmonics on either side that show how strong it is
	weakestMains = 1e-3  // of a harmonic's power, that its neighbours need for it to matter
	toldShare    = 0.03  // standard error of an amplitude that is told, a quarter of a decibel
	modelShare   = 0.003 // of the mains line's amplitude, that the fit may get wrong throughout
	mostOver     = 4     // power of a mains line over its strongest neighbour; common practice, no source
)

// pull is how far a mains line too near to be told from the tone may draw its
// frequency, Hz: the neighbouring lines say how strong it may be. A line of
// relative amplitude r turns the tone's phase by r at most, over the record.
func (s *spectrum) pull(out Strike, o Options) float64 {
	seconds := out.ToS - out.FromS
	order := math.Round(out.Hz / o.MainsHz)
	if o.MainsHz == 0 || order < 1 || math.Abs(out.Hz-order*o.MainsHz) > 5/seconds {
		return 0
	}
	strongest, _ := s.strongestBeside(order, o)
	return math.Sqrt(strongest/s.fundamental(out)) / (math.Pi * seconds)
}

// strongestBeside is the power of the strongest mains line beside that of an
// order, and the mains frequency that it tells.
func (s *spectrum) strongestBeside(order float64, o Options) (power, mainsHz float64) {
	for k := -float64(neighbours); k <= neighbours; k++ {
		if k == 0 || order+k < 1 {
			continue
		}
		near := (order + k) * o.MainsHz
		if int(math.Round(near/s.binHz))+lobe >= len(s.power) {
			break // half the rate cuts it off
		}
		if p, noise := s.line(near, lobe); p > power && p > math.Pow(10, maskDB/10)*noise {
			power, mainsHz = p, s.peakHz(near)/(order+k)
		}
	}
	return power, mainsHz
}

// peakHz is where the line near hz lies, between the bins.
func (s *spectrum) peakHz(hz float64) float64 {
	k := int(math.Round(hz / s.binHz))
	at := max(1, k-lobe)
	for i := at; i <= min(k+lobe, len(s.power)-2); i++ {
		if s.power[i] > s.power[at] {
			at = i
		}
	}
	left, middle, right := math.Sqrt(s.power[at-1]), math.Sqrt(s.power[at]), math.Sqrt(s.power[at+1])
	offset := func(r float64) float64 { return (2*r - 1) / (r + 1) } // of two bins under a Hann window
	if right > left {
		return (float64(at) + offset(right/middle)) * s.binHz
	}
	return (float64(at) - offset(left/middle)) * s.binHz
}

// mainsBeside is the frequency of the mains harmonic in the band of the tone's
// own at hz, and the most power that its neighbours let expect of it; 0 where
// there is none or it is weak.
func (s *spectrum) mainsBeside(hz, power float64, half int, o Options) (mainsHz, most float64) {
	if o.MainsHz == 0 {
		return 0, 0
	}
	order := math.Round(hz / o.MainsHz)
	if order < 2 || math.Abs(hz-order*o.MainsHz) > float64(half+2)*s.binHz {
		return 0, 0
	}
	strongest, mainsHz := s.strongestBeside(order, o)
	if strongest < weakestMains*power {
		return 0, 0
	}
	return order * mainsHz, mostOver * strongest
}

// apart tells the tone's harmonic at hz from the mains line beside it: both
// frequencies are known from the other lines, so that their amplitudes are a
// linear fit. Either may drift a little: the mains in frequency, a struck
// tone's harmonic in level. told is the harmonic's power as the spectrum counts
// it, 0 where it cannot be told; most is what the fit then leaves possible.
func (s *spectrum) apart(hz, mains float64, out Strike) (told, most float64) {
	d := max(1, int(s.rateHz/baseRate))
	stepS := float64(d) / s.rateHz
	z := signal.Baseband(s.x, s.rateHz, hz, d)
	alpha := 0.0
	if out.T60Seconds > 0 {
		alpha = 3 * math.Ln10 / out.T60Seconds
	}
	middle := float64(len(z)-1) / 2 * stepS
	basis := func(k int) [4]complex128 {
		t := float64(k)*stepS - middle
		own, hum := cmplx.Exp(complex(-alpha*t, 0)), cmplx.Exp(complex(0, 2*math.Pi*(mains-hz)*t))
		return [4]complex128{own, own * complex(t, 0), hum, hum * complex(t, 0)}
	}
	fit, inverse, ok := linear(z, basis)
	if !ok {
		return 0, math.Inf(1)
	}
	rest := make([]complex128, len(z))
	power, weight := 0.0, 0.0
	for k := range z {
		b, w := basis(k), s.weight(float64(k*d)+1.5*float64(d-1))
		own := fit[0]*b[0] + fit[1]*b[1]
		rest[k] = z[k] - own - fit[2]*b[2] - fit[3]*b[3]
		power, weight = power+w*real(own*cmplx.Conj(own)), weight+w
	}
	size, unlike := math.Sqrt(power/weight), modelShare*cmplx.Abs(fit[2])
	variance := (damped{}.noise(rest, stepS)/2 + unlike*unlike*float64(len(z))) * inverse
	if sd := math.Sqrt(variance); sd > toldShare*size {
		return 0, math.Pow(2*(size+3*sd), 2)
	}
	return 4 * size * size, math.Inf(1)
}

// linear fits z by the sum of complex multiples of a basis, and gives the
// share of the noise's variance that the first of them has.
func linear(z []complex128, basis func(k int) [4]complex128) (fit [4]complex128, variance float64, ok bool) {
	const n = len(fit) // one complex unknown is two real ones
	a, b := mat.NewSymDense(2*n, nil), mat.NewVecDense(2*n, nil)
	for k, v := range z {
		g := basis(k)
		for i, u := range g {
			b.SetVec(2*i, b.AtVec(2*i)+real(cmplx.Conj(u)*v))
			b.SetVec(2*i+1, b.AtVec(2*i+1)+imag(cmplx.Conj(u)*v))
			for j := i; j < n; j++ {
				p := cmplx.Conj(u) * g[j]
				a.SetSym(2*i, 2*j, a.At(2*i, 2*j)+real(p))
				a.SetSym(2*i+1, 2*j+1, a.At(2*i+1, 2*j+1)+real(p))
				a.SetSym(2*i, 2*j+1, a.At(2*i, 2*j+1)-imag(p))
				if i != j {
					a.SetSym(2*i+1, 2*j, a.At(2*i+1, 2*j)+imag(p))
				}
			}
		}
	}
	var ch mat.Cholesky
	var x mat.VecDense
	var inverse mat.SymDense
	if !ch.Factorize(a) || ch.SolveVecTo(&x, b) != nil || ch.InverseTo(&inverse) != nil {
		return fit, 0, false
	}
	for i := range fit {
		fit[i] = complex(x.AtVec(2*i), x.AtVec(2*i+1))
	}
	return fit, inverse.At(0, 0), true
}
