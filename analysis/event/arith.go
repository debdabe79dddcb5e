package event

import (
	"math"
	"slices"
)

// median works on a copy and takes linear time. Of an even number it is the
// upper of the middle two. 0 when x is empty.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s, k := slices.Clone(x), len(x)/2
	for lo, hi := 0, len(s)-1; lo < hi; {
		pivot := s[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return s[k]
		}
	}
	return s[k]
}

func rms(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return math.Sqrt(dot(x, x) / float64(len(x)))
}

func dot(a, b []float64) float64 {
	var s [4]float64
	for ; len(a) >= 4 && len(b) >= 4; a, b = a[4:], b[4:] {
		v, w := (*[4]float64)(a), (*[4]float64)(b)
		s[0], s[1], s[2], s[3] = s[0]+v[0]*w[0], s[1]+v[1]*w[1], s[2]+v[2]*w[2], s[3]+v[3]*w[3]
	}
	for i, v := range a {
		s[0] += v * b[i]
	}
	return s[0] + s[1] + s[2] + s[3]
}

// boxcar is x averaged over m samples centred on each (m is made odd).
func boxcar(x []float64, m int) []float64 {
	h := m / 2
	if h == 0 {
		return x
	}
	sums := make([]float64, len(x)+1)
	for i, v := range x {
		sums[i+1] = sums[i] + v
	}
	y := make([]float64, len(x))
	for i := range y {
		lo, hi := max(0, i-h), min(len(x), i+h+1)
		y[i] = (sums[hi] - sums[lo]) / float64(hi-lo)
	}
	return y
}
