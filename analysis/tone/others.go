package tone

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Other lines near the tone, mains hum above all, are fitted and taken out
// where they stand strayDB out of the noise, and then both again: left in,
// they pull the tone's frequency by more than all noise does.
const (
	mostOthers = 4
	rounds     = 2
	strayDB    = 12.0
)

// fitTone fits the strongest line of z with its neighbours taken out.
func fitTone(z []complex128, stepS float64) damped {
	tone := fitDamped(z, stepS)
	var others []damped
	rest := take(z, tone, stepS)
	for len(others) < mostOthers {
		hz, ok := tone.stray(rest, stepS)
		if !ok {
			break
		}
		other := fitNear(rest, stepS, hz)
		others = append(others, other)
		rest = take(rest, other, stepS)
	}
	for range rounds {
		if len(others) == 0 {
			return tone
		}
		rest = put(rest, tone, stepS)
		tone = fitDamped(rest, stepS)
		rest = take(rest, tone, stepS)
		for i, o := range others {
			rest = put(rest, o, stepS)
			others[i] = fitNear(rest, stepS, o.omega/(2*math.Pi))
			rest = take(rest, others[i], stepS)
		}
	}
	return fitDamped(put(rest, tone, stepS), stepS)
}

// stray is the strongest line left in rest beside the tone, Hz.
func (d damped) stray(rest []complex128, stepS float64) (float64, bool) {
	w := hann(len(rest))
	r := make([]complex128, len(rest))
	for k, v := range rest {
		r[k] = v * complex(w[k], 0)
	}
	fft := fourier.NewCmplxFFT(len(r))
	c := fft.Coefficients(nil, r)
	own := d.omega / (2 * math.Pi)
	at, top := -1, 0.0
	var p []float64
	for k, v := range c {
		e := real(v * cmplx.Conj(v))
		p = append(p, e)
		if e > top && math.Abs(fft.Freq(k)/stepS-own)*float64(len(r))*stepS > 4 {
			at, top = k, e
		}
	}
	if at < 0 || top < math.Pow(10, strayDB/10)*median(p)/math.Ln2 {
		return 0, false
	}
	return fft.Freq(at) / stepS, true
}

// fitNear fits the line near hz.
func fitNear(z []complex128, stepS, hz float64) damped {
	turned := make([]complex128, len(z))
	for k, v := range z {
		turned[k] = v * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(k)*stepS))
	}
	d := fitDamped(turned, stepS)
	d.omega += 2 * math.Pi * hz
	return d
}

func take(z []complex128, d damped, stepS float64) []complex128 {
	out := make([]complex128, len(z))
	for k, v := range z {
		out[k] = v - d.at(float64(k)*stepS)
	}
	return out
}

func put(z []complex128, d damped, stepS float64) []complex128 {
	d.c = -d.c
	return take(z, d, stepS)
}
