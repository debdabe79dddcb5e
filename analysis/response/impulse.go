package response

import (
	"math"
	"math/cmplx"

	"saddlewise/analysis/signal"
)

const (
	beforeS      = 0.05 // of the take before the sweep that is deconvolved with it
	afterS       = 1.3  // and after it
	lowTaper     = 1.25 // the band fades in over this ratio above its low end
	highTaper    = 1.06 // and out over this one below its high end
	transformS   = 2.0  // length of the transform of a windowed response, at most
	transformPad = 4    // times the window, so that bins can be interpolated
	regularShare = 1e-7
)

// impulse is the response deconvolved from the take: the linear response at
// time zero, that of distortion order k at -L ln k.
type impulse struct {
	h      []float64 // circular; time zero at index zero
	rateHz float64
	ref    *reference
	spec   []complex128 // of the reference, same transform
	c      []complex128 // of h
}

// recorded is the stretch of the take that holds the sweep, transformed once
// for all references that it is divided by.
type recorded struct {
	fft *signal.FFT
	y   []complex128
}

// newRecorded transforms y, which begins lead samples before the reference
// does. What the response of one order spreads over lies within the stretch, so
// that no more room is needed: the division is circular.
func newRecorded(y []float64, lead, referenceLength int) recorded {
	n := signal.FastLength(max(len(y), referenceLength) + referenceLength/20)
	padded := make([]float64, n)
	for i, v := range y {
		padded[((i-lead)%n+n)%n] = v
	}
	fft := signal.NewFFT(n)
	return recorded{fft, fft.Forward(nil, padded)}
}

// by divides the spectrum of the take by the reference's.
func (t recorded) by(r *reference) *impulse {
	n := t.fft.Len()
	padded := make([]float64, n)
	copy(padded, r.x)
	x := t.fft.Forward(nil, padded)
	c := make([]complex128, len(x))
	step := r.rateHz / float64(n)
	floor := regularShare * energyBetween(x, step, r)
	for k := range c {
		hz := float64(k) * step
		if m := r.mask(hz); m > 0 {
			c[k] = t.y[k] * cmplx.Conj(x[k]) * complex(m/(power(x[k])+floor/hz), 0)
		}
	}
	return &impulse{h: t.fft.Inverse(padded, c), rateHz: r.rateHz, ref: r, spec: x, c: c}
}

// energyBetween is the typical energy times frequency over the band.
func energyBetween(x []complex128, step float64, r *reference) float64 {
	sum, n := 0.0, 0
	for k := int(r.lowHz*2/step) + 1; k < len(x) && float64(k)*step < r.highHz/2; k++ {
		sum += power(x[k]) * float64(k) * step
		n++
	}
	return sum / float64(max(1, n))
}

// mask keeps the band in which the sweep holds energy, with soft ends that
// ring little.
func (r *reference) mask(hz float64) float64 {
	rise := math.Log(hz/r.lowHz) / math.Log(lowTaper)
	fall := math.Log(r.highHz/hz) / math.Log(highTaper)
	return soft(rise) * soft(fall)
}

// soft rises from 0 at 0 to 1 at 1 with all derivatives continuous enough for
// fast decay: the integral of a raised cosine.
func soft(t float64) float64 {
	switch {
	case !(t > 0):
		return 0
	case t >= 1:
		return 1
	}
	return t - math.Sin(2*math.Pi*t)/(2*math.Pi)
}

// validHz is the band in which the response is whole: where the mask lets all
// through, and the window before the response, which cannot hold all of the
// mask's own ringing, does not blur its low end in.
func (r *reference) validHz() (low, high float64) {
	return r.lowHz*lowTaper + 1/math.Min(linearWindows[0].preS, r.roomS()), r.highHz / highTaper
}

// roomS is how far before the linear response a window may reach without
// touching that of the second order.
func (r *reference) roomS() float64 { return 0.4 * r.rateS * math.Ln2 }

// window is a stretch of an impulse response with softened ends.
type window struct {
	preS, postS float64 // before and after its centre
	x           []float64
	zero        int     // index of the centre
	energy      float64 // sum of the squared weights
}

// cut takes the window around atS; its outer half before and its last third
// after the centre are half-cosines.
func (im *impulse) cut(atS, preS, postS float64) window {
	return im.weigh(atS, preS, postS, 0.5, 1.0/3)
}

// weigh takes the window around atS, of which these shares before and after
// the centre are half-cosines.
func (im *impulse) weigh(atS, preS, postS, preShare, postShare float64) window {
	pre, post := int(preS*im.rateHz), int(postS*im.rateHz)
	w := window{preS: preS, postS: postS, x: make([]float64, pre+post), zero: pre}
	centre, n := int(math.Round(atS*im.rateHz)), len(im.h)
	in, out := int(preShare*float64(pre)), int(postShare*float64(post))
	for i := range w.x {
		g := halfCosine(i, in) * halfCosine(len(w.x)-1-i, out)
		w.energy += g * g
		w.x[i] = g * im.h[((centre+i-pre)%n+n)%n]
	}
	return w
}

// spectrum is a transformed window.
type spectrum struct {
	c, moment []complex128
	step      float64
}

func (w window) transform(rateHz float64) spectrum {
	n := signal.PowerOfTwo(max(len(w.x), min(int(transformS*rateHz), transformPad*len(w.x))))
	c, m := transforms(w.x, n, w.zero)
	return spectrum{c, m, rateHz / float64(n)}
}

// powers is the window's spectrum without its moment, in steps of 1 Hz or
// less.
func (w window) powers(rateHz float64) spectrum {
	n := signal.PowerOfTwo(max(len(w.x), int(rateHz)))
	padded := make([]float64, n)
	copy(padded, w.x)
	return spectrum{c: signal.Transform(padded), step: rateHz / float64(n)}
}

// at interpolates the spectrum between bins; its time zero is the window's
// centre, so that its phase turns slowly.
func (s spectrum) at(hz float64) (c, moment complex128) {
	k := int(hz / s.step)
	t := complex(hz/s.step-float64(k), 0)
	if k+1 >= len(s.c) {
		return s.c[len(s.c)-1], s.moment[len(s.c)-1]
	}
	return s.c[k] + t*(s.c[k+1]-s.c[k]), s.moment[k] + t*(s.moment[k+1]-s.moment[k])
}

// peakS is when the response is largest, within reach of where it was found.
func (im *impulse) peakS(reachS float64) float64 {
	reach, n := int(reachS*im.rateHz), len(im.h)
	best, at := 0.0, 0
	for i := -reach; i <= reach; i++ {
		if v := math.Abs(im.h[(i+n)%n]); v > best {
			best, at = v, i
		}
	}
	return float64(at) / im.rateHz
}
