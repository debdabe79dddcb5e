package decay

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// Limits of the filter's length, seconds. A length of windowOfT60 times T60
// drops the note by 5 dB within the window, little enough to cost no
// signal-to-noise; windowMost still lets beats of 5 Hz through; a short record
// keeps most of its length.
const (
	windowOfT60    = 0.08
	windowOfRecord = 0.1
	windowLeast    = 0.02
	windowMost     = 0.15
)

// leakage is the share of the other partials' power that passes the filter.
const leakage = 1e-7

// loudness is the power of all samples, 1 being a full-scale sine.
func loudness(x []float64) float64 {
	return 2 * floats.Dot(x, x) / float64(max(len(x), 1))
}

// maxPoints bounds the envelope that is fitted and handed on.
const maxPoints = 200

// envelope is the squared envelope of a note: p[k] is the power at t[k]
// seconds, 1 being a full-scale sine.
type envelope struct {
	t, p    []float64
	stepS   float64
	lengthS float64 // each point looks at the samples from t to t+lengthS
	free    float64 // independent looks averaged in one point
	floor   float64 // noise power estimated beside the partial; 0: not known
	humLeft float64 // power of mains lines left in the band
	gain    func(alpha, omega float64) complex128
	lastS   float64 // end of the samples
	broad   bool
}

func envelopeOf(x []float64, rateHz float64, o Options) (envelope, string) {
	if o.Hz == 0 {
		return broadband(x, rateHz)
	}
	b := shift(x, rateHz, o.Hz, max(1, int(rateHz/(oversample*o.Hz))))
	length := o.WindowS
	if length == 0 {
		length = b.chooseLength(o.Hz)
	}
	f := b.filter(length)
	if len(f.z) < 12 {
		return envelope{}, fmt.Sprintf("the note lasts %.0f ms; at %.0f Hz at least %.0f ms are needed",
			1e3*float64(len(x))/rateHz, o.Hz, 1e3*2.5*length)
	}
	e := envelope{stepS: f.hopS, lengthS: f.lengthS + 3/b.rate, free: 1, gain: f.gain, lastS: float64(len(x)) / rateHz}
	e.floor = b.floorBeside(o.Hz, length)
	e.humLeft = f.removeHum(o, e.floor)
	for k, z := range f.z {
		e.t = append(e.t, float64(k)*f.hopS)
		e.p = append(e.p, 4*real(z*cmplx.Conj(z)))
	}
	if e.peak() <= leakage*loudness(x) {
		return envelope{}, "nothing is heard at this frequency"
	}
	return e.thin(), ""
}

// chooseLength takes a first look with a short filter and fits the length of
// the final one to the decay seen.
func (b baseband) chooseLength(hz float64) float64 {
	least := windowLobe / hz
	f := b.filter(max(least, windowLeast))
	if len(f.z) < 4 {
		return least
	}
	p := make([]float64, len(f.z))
	for k, z := range f.z {
		p[k] = real(z * cmplx.Conj(z))
	}
	p = smooth(p, 4)
	top := argmax(p)
	const dropDB = 10.0
	last := top
	for last < len(p)-1 && p[last] > p[top]*math.Pow(10, -dropDB/10) {
		last++
	}
	drop := 10 * math.Log10(p[top]/p[last])
	t60 := 60 / max(drop, 1) * float64(last-top) * f.hopS
	record := float64(len(b.z)) / b.rate
	return max(least, min(windowMost, max(windowLeast, min(windowOfT60*t60, windowOfRecord*record))))
}

// floorBeside is the noise power halfway to the neighbouring partials, the
// lower of both sides, late in the note; 0 where the filter is too wide to
// keep the partial out.
func (b baseband) floorBeside(hz, lengthS float64) float64 {
	if lengthS < 2.2*windowLobe/hz {
		return 0
	}
	floor, late := math.Inf(1), b.z[len(b.z)/2:]
	for _, side := range []float64{-0.5, 0.5} {
		turned := baseband{z: make([]complex128, len(late)), rate: b.rate, steps: b.steps}
		step := cmplx.Exp(complex(0, -2*math.Pi*side*hz/b.rate))
		turn := complex(1, 0)
		for i, z := range late {
			turned.z[i] = z * turn
			turn *= step
		}
		f := turned.filter(lengthS)
		p := make([]float64, len(f.z))
		for k, z := range f.z {
			p[k] = 4 * real(z*cmplx.Conj(z))
		}
		// The median of an exponential distribution is ln 2 of its mean.
		floor = min(floor, median(p)/math.Ln2)
	}
	return floor
}

// broadband is the envelope of all samples, constant part removed.
func broadband(x []float64, rateHz float64) (envelope, string) {
	hop := max(1, int(0.01*rateHz))
	n := 2 * hop
	if len(x) < 12*n {
		return envelope{}, fmt.Sprintf("the note lasts %.0f ms; at least 240 ms are needed", 1e3*float64(len(x))/rateHz)
	}
	mean := signal.Sum(x) / float64(len(x))
	e := envelope{stepS: float64(hop) / rateHz, lengthS: float64(n) / rateHz, free: 20, broad: true,
		gain: func(_, _ float64) complex128 { return 1 }, lastS: float64(len(x)) / rateHz}
	before := 0.0
	for at := 0; at+hop <= len(x); at += hop {
		block := x[at : at+hop]
		here := max(0, floats.Dot(block, block)+mean*(mean*float64(hop)-2*signal.Sum(block)))
		if at > 0 {
			e.t = append(e.t, float64(at-hop)/rateHz)
			e.p = append(e.p, 2*(before+here)/float64(n))
		}
		before = here
	}
	if e.peak() <= 0 {
		return envelope{}, "the samples are all zero"
	}
	return e.thin(), ""
}

// thin averages neighbouring points until at most maxPoints remain.
func (e envelope) thin() envelope {
	d := (len(e.p) + maxPoints - 1) / maxPoints
	if d <= 1 {
		return e
	}
	t, p := e.t, e.p
	e.t, e.p = nil, nil
	for at := 0; at+d <= len(p); at += d {
		s := 0.0
		for _, v := range p[at : at+d] {
			s += v
		}
		e.t = append(e.t, (t[at]+t[at+d-1])/2)
		e.p = append(e.p, s/float64(d))
	}
	// Windows half a length apart see nearly independent noise.
	e.free *= max(1, float64(d)*e.stepS/(0.5*e.lengthS))
	e.stepS *= float64(d)
	return e
}

func (e envelope) peak() float64 { return e.p[argmax(e.p)] }

// until keeps what ends before endS.
func (e envelope) until(endS float64) envelope {
	n := 0
	for n < len(e.t) && e.t[n]+e.lengthS <= endS {
		n++
	}
	e.t, e.p = e.t[:n], e.p[:n]
	e.lastS = endS
	return e
}

// correlated is the number of neighbouring points that tell one thing.
func (e envelope) correlated() float64 { return max(1, 0.5*e.lengthS/e.stepS) }

func smooth(p []float64, n int) []float64 {
	out := make([]float64, len(p))
	for i := range p {
		lo, hi := max(0, i-n/2), min(len(p), i+n/2+1)
		for _, v := range p[lo:hi] {
			out[i] += v / float64(hi-lo)
		}
	}
	return out
}

func argmax(p []float64) int {
	at := 0
	for i, v := range p {
		if v > p[at] {
			at = i
		}
	}
	return at
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := slices.Clone(v)
	slices.Sort(s)
	return s[len(s)/2]
}
