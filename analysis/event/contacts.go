package event

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// After a contact everything rings freely: body, bridge and strings add up to
// damped sinusoids, which a linear predictor foretells from their own past.
// What it cannot foretell, the innovation, is new force: a second contact
// stands out of it even where the ringing of the first hides it.
const (
	contactRateHz   = 12000.0
	predictorOrder  = 18
	contactsS       = 0.085  // searched after the onset
	firstOverS      = 0.0024 // from here burstS on, the first contact is as good as over
	contactsFromS   = 0.0045 // and a second may have come
	burstS          = 0.001
	burstOverFirst  = 0.006 // energy; -22 dB of the first contact's innovation
	burstOverMedian = 5.0   // energy; and the product of the two is at least 1
)

// secondContact looks for new force between an event's onset and sample to. It
// returns the time from onset in seconds, or 0 when there is none.
func (v view) secondContact(src signal.Source, onset, to int64) (float64, error) {
	d := max(1, int(math.Round(v.rateHz/contactRateHz)))
	from := onset - int64((predictorOrder+4)*d)
	if from < v.first {
		return 0, nil
	}
	to = min(to, onset+int64(v.samples(contactsS)))
	raw, err := signal.Segment(src, from, to-from)
	if err != nil {
		return 0, fmt.Errorf("read samples from %d: %w", from, err)
	}
	x := averaged(raw, d)
	v.bg.subtract(x, from, d)
	force := newForce(x, predictorOrder+4, v.rateHz/float64(d), v.rawSD*v.rawSD/float64(d))
	if force.evidence() > 1 {
		return force.t, nil
	}
	return 0, nil
}

// averaged takes the mean of every d samples.
func averaged(x []float64, d int) []float64 {
	y := make([]float64, len(x)/d)
	for i := range y {
		for _, v := range x[i*d : (i+1)*d] {
			y[i] += v / float64(d)
		}
	}
	return y
}

// burst is the strongest innovation after the first contact.
type burst struct {
	t                     float64 // s after the onset
	overFirst, overMedian float64 // its energy over the first contact's and over the median
}

// evidence is above 1 where the burst is a second contact.
func (b burst) evidence() float64 {
	return min(b.overFirst/burstOverFirst, b.overMedian/burstOverMedian, b.overFirst*b.overMedian)
}

// newForce looks for the strongest burst in x, whose first contact is at
// start. A second fit learns nothing from what stood out of the first.
func newForce(x []float64, start int, rateHz, noise float64) burst {
	skip := start + int(contactsFromS*rateHz)
	if len(x) < skip+4*predictorOrder {
		return burst{}
	}
	weight := make([]float64, len(x))
	for i := skip; i < len(x); i++ {
		weight[i] = 1
	}
	var b burst
	for range 2 {
		a := predictor(x, weight, noise)
		if a == nil {
			return burst{}
		}
		e := innovation(x, a)
		b = strongest(e, start, skip, rateHz)
		reweight(weight, e, skip)
	}
	return b
}

func strongest(e []float64, start, skip int, rateHz float64) burst {
	energy := bursts(e, max(1, int(burstS*rateHz)))
	at := risenMost(energy, start+int(firstOverS*rateHz), skip)
	return burst{
		t:          float64(at-start) / rateHz,
		overFirst:  energy[at] / slices.Max(energy[start:skip]),
		overMedian: energy[at] / (median(energy[skip:]) + 1e-300),
	}
}

// risenMost is the index from skip on with the largest energy among those that
// stand well above what lies between it and the first contact's end. What only
// sinks is the first contact's own rest.
func risenMost(energy []float64, from, skip int) int {
	at, least := skip, math.Inf(1)
	best := 0.0
	for i := from; i < len(energy); i++ {
		least = min(least, energy[i])
		if i >= skip && energy[i] > best && energy[i] > 6*least {
			at, best = i, energy[i]
		}
	}
	return at
}

// predictor solves the weighted covariance method of linear prediction.
func predictor(x, weight []float64, noise float64) []float64 {
	p := predictorOrder
	n := len(x) - p
	gram, rhs := make([]float64, p*p), make([]float64, p)
	weighted := make([]float64, n)
	for i := range p {
		for k := range weighted {
			weighted[k] = weight[p+k] * x[i+k]
		}
		rhs[i] = floats.Dot(weighted, x[p:])
		for j := i; j < p; j++ {
			gram[i*p+j] = floats.Dot(weighted, x[j:j+n])
		}
	}
	total := floats.Sum(weight[p:])
	for i := range p {
		gram[i*p+i] = gram[i*p+i]*(1+1e-8) + 1e-3*noise*total + 1e-300
	}
	if !solve(gram, rhs) {
		return nil
	}
	return rhs
}

func innovation(x, a []float64) []float64 {
	p := len(a)
	e := make([]float64, len(x))
	for n := p; n < len(x); n++ {
		e[n] = x[n] - floats.Dot(a, x[n-p:n])
	}
	return e
}

// reweight keeps a second contact's own samples from teaching the predictor.
func reweight(weight, e []float64, skip int) {
	sizes := make([]float64, len(e)-skip)
	for i, v := range e[skip:] {
		sizes[i] = math.Abs(v)
	}
	scale := 4*median(sizes) + 1e-300
	for i := skip; i < len(e); i++ {
		weight[i] = 1 / (1 + e[i]*e[i]/(scale*scale))
	}
}

// bursts is the energy of the n samples from each on.
func bursts(e []float64, n int) []float64 {
	out := make([]float64, max(0, len(e)-n))
	sum := 0.0
	for i, v := range e {
		sum += v * v
		if i >= n {
			sum = max(0, sum-e[i-n]*e[i-n])
			out[i-n] = sum
		}
	}
	return out
}
