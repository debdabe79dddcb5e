package recording

import "math"

// Limits for flat tops: common practice, no source.
const (
	flatShare  = 0.005 // of the extreme: how flat
	flatLeast  = 8     // samples
	leastFlats = 3     // at one level: natural peaks differ in height
	steepSteps = 4.5   // quantisation steps
	leastClip  = 64    // quantisation steps: below, values repeat by chance
	leastBand  = 4     // quantisation steps: what is flat must not be so by rounding
)

// plateau watches one side of a channel for clipping at its extreme value.
//
// Exact: 3 or more samples of exactly that value. The top of a slow wave is
// flat by rounding, too, but a parabola that stays within one step for 3
// samples or more begins at most 4 steps below; a clipped wave arrives at a
// slope.
//
// Nearly: 8 or more samples within 0.5 % of it, entered and left so fast that
// the stretch within 2 % is hardly longer. A smooth peak has twice the length
// (its top is a parabola), the flattest sum of two harmonics 1.41 times.
// A stage that clips ahead of the converter looks like this, as the
// converter's noise rides on its flat tops.
type plateau struct {
	at    float64
	runs  int
	first int64
	run   int
	steep bool
	last  float64

	flats, near, wide int
}

func newPlateau() plateau { return plateau{at: math.Inf(-1)} }

// tile takes a tile's samples times sign; squares is the sum of their squares.
func (p *plateau) tile(x []float64, sign, squares float64, n int64, quantum float64) {
	low := p.nearFrom()
	from := len(x)
	if low <= 0 || squares >= low*low { // else no sample can be that large
		from = firstFrom(x, sign, low)
	}
	if from == len(x) {
		p.leave(sign * x[len(x)-1])
		return
	}
	if from > 0 {
		p.leave(sign * x[from-1])
	}
	for i := from; i < len(x); i++ {
		v := sign * x[i]
		if v < low {
			p.leave(v)
			continue
		}
		p.nearly(v)
		p.exact(v, n+int64(i), quantum)
		p.last = v
		low = p.nearFrom()
	}
}

// nearFrom is the least value that lies within 2 % of the extreme.
func (p *plateau) nearFrom() float64 { return p.at - 4*flatShare*math.Abs(p.at) }

// firstFrom is where x times sign first reaches low; len(x): nowhere.
func firstFrom(x []float64, sign, low float64) int {
	for i, v := range x {
		if sign*v >= low {
			return i
		}
	}
	return len(x)
}

// leave takes a sample well below the extreme.
func (p *plateau) leave(v float64) {
	if p.wide > 0 {
		p.endFlat()
	}
	p.run, p.last = 0, v
}

func (p *plateau) exact(v float64, n int64, quantum float64) {
	switch {
	case v > p.at:
		p.at, p.runs, p.run = v, 0, 1
		p.steep = n > 0 && v-p.last > steepSteps*quantum
		return
	case v < p.at:
		p.run = 0
		return
	case p.run == 0:
		p.steep = p.at-p.last > steepSteps*quantum
	}
	p.run++
	if p.run == 3 && p.steep {
		if p.runs == 0 {
			p.first = n - 2
		}
		p.runs++
	}
}

// nearly takes a sample within 2 % of the extreme or above it.
func (p *plateau) nearly(v float64) {
	band := flatShare * math.Abs(p.at)
	if v > p.at && !(v <= p.at+band) {
		p.flats, p.near, p.wide = 0, 0, 0
	}
	p.wide++
	if v >= p.at-band {
		p.near++
	}
}

func (p *plateau) endFlat() {
	if p.near >= flatLeast && 4*p.wide <= 5*p.near+4 {
		p.flats++
	}
	p.near, p.wide = 0, 0
}
