package event

import "math"

// biquad is a second-order section in transposed direct form II.
type biquad struct{ b0, b1, b2, a1, a2, z1, z2 float64 }

func (q *biquad) run(x float64) float64 {
	y := q.b0*x + q.z1
	q.z1 = q.b1*x - q.a1*y + q.z2
	q.z2 = q.b2*x - q.a2*y
	return y
}

// settle sets a high-pass as if x had lasted for ever.
func (q *biquad) settle(x float64) { q.z1, q.z2 = -q.b0*x, q.b2*x }

// highPass and lowPass are Butterworth sections by the bilinear transform.
func highPass(cornerHz, rateHz float64) biquad {
	k := math.Tan(math.Pi * cornerHz / rateHz)
	norm := 1 / (1 + math.Sqrt2*k + k*k)
	return biquad{b0: norm, b1: -2 * norm, b2: norm, a1: 2 * (k*k - 1) * norm, a2: (1 - math.Sqrt2*k + k*k) * norm}
}

func lowPass(cornerHz, rateHz float64) biquad {
	k := math.Tan(math.Pi * cornerHz / rateHz)
	norm := 1 / (1 + math.Sqrt2*k + k*k)
	return biquad{b0: k * k * norm, b1: 2 * k * k * norm, b2: k * k * norm, a1: 2 * (k*k - 1) * norm, a2: (1 - math.Sqrt2*k + k*k) * norm}
}

// bandFilters splits decimated samples into the frame's bands.
type bandFilters struct {
	base, low, mid1, mid2, midTop, high1, high2 biquad
}

func newBandFilters(rateHz float64) bandFilters {
	top := min(2500, 0.3*rateHz)
	return bandFilters{
		base: highPass(25, rateHz), low: lowPass(300, rateHz),
		mid1: highPass(500, rateHz), mid2: highPass(500, rateHz), midTop: lowPass(top, rateHz),
		high1: highPass(top, rateHz), high2: highPass(top, rateHz),
	}
}

// frame averages every d samples into one, filters, and sums squares.
func (b *bandFilters) frame(x []float64, d int) frame {
	var f frame
	scale := 1 / float64(d)
	n := 0
	for ; len(x) >= d; x = x[d:] {
		sum := 0.0
		for _, v := range x[:d] {
			sum += v
		}
		y := b.base.run(sum * scale)
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
	f.wide, f.low, f.mid, f.high = f.wide*inv, f.low*inv, f.mid*inv, f.high*inv
	return f
}
