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
	n     int
	parts [][]complex128 // part j holds samples j, j + len(parts), ...
}

// spectrumOf transforms what makes whole parts of y.
func spectrumOf(y []float64) spectrum {
	short := 4
	for 2*short*leastParts <= len(y) {
		short *= 2
	}
	s := spectrum{parts: make([][]complex128, len(y)/short)}
	s.n = short * len(s.parts)
	part := make([]float64, short)
	for j := range s.parts {
		for i := range part {
			part[i] = y[i*len(s.parts)+j]
		}
		s.parts[j] = signal.Transform(part)
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
	b.x, b.turn = make([]complex128, high-low+1), make([]complex128, high-low+1)
	turn, step := cmplx.Rect(1, -b.theta(0)), cmplx.Rect(1, -2*math.Pi/float64(s.n))
	for i := range b.x {
		b.x[i], b.turn[i] = s.bin(low+i, turn), turn
		turn *= step
	}
	return b
}

// bin sums the parts' transforms, each a sample later than the one before, by
// Horner's rule.
func (s spectrum) bin(k int, turn complex128) complex128 {
	short := 2 * (len(s.parts[0]) - 1)
	k %= short
	mirrored := k > short/2
	if mirrored {
		k, turn = short-k, conj(turn)
	}
	var sum complex128
	for j := len(s.parts) - 1; j >= 0; j-- {
		sum = sum*turn + s.parts[j][k]
	}
	if mirrored {
		return conj(sum)
	}
	return sum
}
