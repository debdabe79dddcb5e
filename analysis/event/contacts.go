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
	burstOverMedian = 4.5   // energy; and the product of the two is at least 1
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
	x := v.scratch.averaged(raw, d)
	v.bg.subtract(x, from, d)
	force := v.scratch.newForce(x, predictorOrder+4, v.rateHz/float64(d), v.rawSD*v.rawSD/float64(d))
	if force.evidence() > 1 {
		return force.t, nil
	}
	return 0, nil
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
func (s *scratch) newForce(x []float64, start int, rateHz, noise float64) burst {
	skip := start + int(contactsFromS*rateHz)
	if len(x) < skip+4*predictorOrder {
		return burst{}
	}
	learnt := learnFrom(x, skip)
	e := learnt.innovation(s, x, noise)
	if e == nil {
		return burst{}
	}
	learnt.forget(s, x, e, skip)
	if e = learnt.innovation(s, x, noise); e == nil {
		return burst{}
	}
	return s.strongest(e, start, skip, rateHz)
}

func (s *scratch) strongest(e []float64, start, skip int, rateHz float64) burst {
	energy := s.bursts(e, max(1, int(burstS*rateHz)))
	at := risenMost(energy, start+int(firstOverS*rateHz), skip)
	return burst{
		t:          float64(at-start) / rateHz,
		overFirst:  energy[at] / slices.Max(energy[start:skip]),
		overMedian: energy[at] / (s.median(energy[skip:]) + 1e-300),
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

// covariance holds the products of samples that linear prediction by the
// covariance method is solved from: at row i, column j those of the samples
// predictorOrder-i and predictorOrder-j before each that is learnt from. The
// last column is of the predicted samples themselves.
type covariance struct {
	products [predictorOrder][predictorOrder + 1]float64
	samples  float64
}

// learnFrom takes the samples of x from skip on. A row follows from the one
// above it but for the ends.
func learnFrom(x []float64, skip int) *covariance {
	const p = predictorOrder
	n := len(x) - skip
	past := x[skip-p:]
	c := &covariance{samples: float64(n)}
	for j := range p + 1 {
		c.products[0][j] = floats.Dot(past[:n], past[j:j+n])
	}
	for i := range p - 1 {
		for j := i; j < p; j++ {
			c.products[i+1][j+1] = c.products[i][j] - past[i]*past[j] + past[i+n]*past[j+n]
		}
	}
	return c
}

// forget takes away the share of samples that innovation e drives, so that a
// second contact teaches the predictor nothing: what is beyond some deviations
// counts as much as if it were there.
func (c *covariance) forget(s *scratch, x, e []float64, skip int) {
	const p = predictorOrder
	sizes := s.floats(len(e) - skip)
	for i, v := range e[skip:] {
		sizes[i] = math.Abs(v)
	}
	limit := 4 * s.median(sizes)
	for k, size := range sizes {
		if size <= limit {
			continue
		}
		share := 1 - limit*limit/(size*size)
		c.samples -= share
		seen := x[skip+k-p : skip+k+1]
		for i := range p {
			for j := i; j <= p; j++ {
				c.products[i][j] -= share * seen[i] * seen[j]
			}
		}
	}
}

// innovation is what cannot be foretold of x; nil when that cannot be solved.
func (c *covariance) innovation(s *scratch, x []float64, noise float64) []float64 {
	const p = predictorOrder
	gram, rhs := s.floats(p*p), s.floats(p)
	for i, row := range c.products {
		copy(gram[i*p:], row[:p])
		gram[i*p+i] = row[i]*(1+1e-8) + 1e-3*noise*c.samples + 1e-300
		rhs[i] = row[p]
	}
	if !solve(gram, rhs) {
		return nil
	}
	e := s.floats(len(x))
	clear(e[:p])
	for n := p; n < len(x); n++ {
		e[n] = x[n] - floats.Dot(rhs, x[n-p:n])
	}
	return e
}

// bursts is the energy of the n samples from each on.
func (s *scratch) bursts(e []float64, n int) []float64 {
	out := s.floats(max(0, len(e)-n))
	sum := 0.0
	for _, v := range e[:min(n, len(e))] {
		sum += v * v
	}
	for i := range out {
		gone, come := e[i], e[i+n]
		if sum += come*come - gone*gone; sum < 0 {
			sum = 0
		}
		out[i] = sum
	}
	return out
}
