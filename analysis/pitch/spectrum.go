package pitch

import (
	"math"
	"math/cmplx"

	"saddlewise/analysis/signal"
)

const leastParts = 64 // a note is cut short by less than one part

// band is a stretch of bins of the discrete Fourier transform of n samples.
type band struct {
	n, low int
	x      []complex128
	turn   []complex128 // exp(-i theta)
}

// theta is the frequency of bin i of the band, radians a sample.
func (b band) theta(i int) float64 { return 2 * math.Pi * float64(b.low+i) / float64(b.n) }

// within is the part of the band half bins about centre.
func (b band) within(centre, half float64) band {
	from := max(0, int(math.Ceil(centre-half))-b.low)
	to := min(len(b.x), int(math.Floor(centre+half))+1-b.low)
	if to <= from {
		return band{n: b.n, low: b.low}
	}
	return band{n: b.n, low: b.low + from, x: b.x[from:to], turn: b.turn[from:to]}
}

// spectrum gives bins of the transform of a long sequence, of which few are
// wanted: the sequence is dealt out to parts whose transforms are short,
// of a length that is a power of two.
type spectrum struct {
	n, short int
	parts    [][]complex128 // part j holds samples j, j + len(parts), ...
}

// spectrumOf transforms what makes whole parts of y, into memory that is lent.
func spectrumOf(y []float64, lent *memory) spectrum {
	short := 4
	for 2*short*leastParts <= len(y) {
		short *= 2
	}
	s := spectrum{short: short, parts: make([][]complex128, len(y)/short)}
	s.n = short * len(s.parts)
	fft, bins := signal.NewFFT(short), short/2+1
	part := make([]float64, short)
	lent.bins = resized(lent.bins, len(s.parts)*bins)
	for j := range s.parts {
		for i := range part {
			part[i] = y[i*len(s.parts)+j]
		}
		s.parts[j] = fft.Forward(lent.bins[j*bins:(j+1)*bins], part)
	}
	return s
}

// about is the band half bins about centre, which may be broken numbers.
func (s spectrum) about(centre, half float64) band {
	low := max(1, int(math.Ceil(centre-half)))
	high := min(s.n/2-1, int(math.Floor(centre+half)))
	b := band{n: s.n, low: low}
	if high < low {
		return b
	}
	both := make([]complex128, 2*(high-low+1))
	b.x, b.turn = both[:len(both)/2:len(both)/2], both[len(both)/2:]
	turn, step := cmplx.Rect(1, -b.theta(0)), cmplx.Rect(1, -2*math.Pi/float64(s.n))
	for i := range b.turn {
		b.turn[i] = turn
		turn *= step
	}
	for from := 0; from < len(b.x); {
		from += s.sum(b.x[from:], b.turn[from:], low+from)
	}
	return b
}

// sum puts bins from low on together from the parts' transforms, each a sample
// later than the one before, by Horner's rule: so many at a time as lie on one
// side of the short transform, whose other side is its mirror.
func (s spectrum) sum(x, turn []complex128, low int) (done int) {
	k, step, sign := low%s.short, 1, 1.0
	done = s.short/2 - k + 1
	if done <= 0 {
		k = s.short - k
		step, sign, done = -1, -1, k
	}
	done = min(done, len(x))
	x, turn = x[:done], turn[:done]
	for j := len(s.parts) - 1; j >= 0; j-- {
		part, at := s.parts[j], k
		for i, v := range x {
			p := part[at]
			x[i] = v*turn[i] + complex(real(p), sign*imag(p))
			at += step
		}
	}
	return done
}
