package event

import "math"

// highPass and lowPass are Butterworth sections by the bilinear transform, in
// transposed direct form II, without their gain: numerators of 1, -2, 1 and
// 1, 2, 1 spare half the multiplications.
type (
	highPass struct{ a1, a2, z1, z2 float64 }
	lowPass  struct{ a1, a2, z1, z2 float64 }
)

func (q *highPass) run(x float64) float64 {
	y := x + q.z1
	q.z1 = (q.z2 - (x + x)) - q.a1*y
	q.z2 = x - q.a2*y
	return y
}

func (q *lowPass) run(x float64) float64 {
	y := x + q.z1
	q.z1 = (q.z2 + (x + x)) - q.a1*y
	q.z2 = x - q.a2*y
	return y
}

// settle sets a high-pass as if x had lasted for ever.
func (q *highPass) settle(x float64) { q.z1, q.z2 = -x, x }

func newHighPass(cornerHz, rateHz float64) (highPass, float64) {
	a1, a2, norm, _ := butterworth(cornerHz, rateHz)
	return highPass{a1: a1, a2: a2}, norm
}

func newLowPass(cornerHz, rateHz float64) (lowPass, float64) {
	a1, a2, norm, k := butterworth(cornerHz, rateHz)
	return lowPass{a1: a1, a2: a2}, k * k * norm
}

func butterworth(cornerHz, rateHz float64) (a1, a2, norm, k float64) {
	k = math.Tan(math.Pi * cornerHz / rateHz)
	norm = 1 / (1 + math.Sqrt2*k + k*k)
	return 2 * (k*k - 1) * norm, (1 - math.Sqrt2*k + k*k) * norm, norm, k
}

// bandFilters splits decimated samples into the frame's bands.
type bandFilters struct {
	base, mid1, mid2, high1, high2 highPass
	low, midTop                    lowPass
	scale                          frame // of the bands' mean squares: the filters' gains
}

func newBandFilters(rateHz float64) bandFilters {
	top := min(2500, 0.3*rateHz)
	var b bandFilters
	var base, low, mid, midTop, high float64
	b.base, base = newHighPass(25, rateHz)
	b.low, low = newLowPass(300, rateHz)
	b.mid1, mid = newHighPass(500, rateHz)
	b.mid2 = b.mid1
	b.midTop, midTop = newLowPass(top, rateHz)
	b.high1, high = newHighPass(top, rateHz)
	b.high2 = b.high1
	sqr := func(gain float64) float64 { return gain * gain }
	b.scale = frame{wide: sqr(base), low: sqr(base * low), mid: sqr(base * mid * mid * midTop), high: sqr(base * high * high)}
	return b
}

// frame averages every d samples into one, filters, and takes mean squares.
func (b *bandFilters) frame(x []float64, d int) frame {
	var f frame
	share := 1 / float64(d)
	n := 0
	for ; len(x) >= d; x = x[d:] {
		sum, square := sumsOf(x[:d])
		f.sum += sum
		f.square += square
		y := b.base.run(sum * share)
		low := b.low.run(y)
		mid := b.midTop.run(b.mid2.run(b.mid1.run(y)))
		high := b.high2.run(b.high1.run(y))
		f.wide += y * y
		f.low += low * low
		f.mid += mid * mid
		f.high += high * high
		n++
	}
	inv := 1 / float64(n)
	f.wide *= inv * b.scale.wide
	f.low *= inv * b.scale.low
	f.mid *= inv * b.scale.mid
	f.high *= inv * b.scale.high
	return f
}

// sumsOf is the sum of samples and of their squares. The usual rate's three
// are spelled out.
func sumsOf(x []float64) (sum, square float64) {
	if len(x) == 3 {
		return x[0] + x[1] + x[2], x[0]*x[0] + x[1]*x[1] + x[2]*x[2]
	}
	for _, v := range x {
		sum += v
		square += v * v
	}
	return sum, square
}
