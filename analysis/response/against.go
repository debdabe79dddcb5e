package response

import (
	"math"

	"saddlewise/analysis/stats"
)

// AgainstMedian is each string's bands less the median of all strings in
// which that band stands out of the noise, so that a dull or thin string shows
// beside the others. All strings must have been read with the same bands. A
// band that fewer than two strings hold is masked for all.
//
// The interval counts the string's own and the uncertainty of the median,
// taken as the others' typical half-width over the root of their number; the
// two add in quadrature, as independent errors do.
func AgainstMedian(strings [][]BandLevel) [][]BandLevel {
	out := make([][]BandLevel, len(strings))
	for i, bands := range strings {
		out[i] = make([]BandLevel, len(bands))
		for b := range bands {
			out[i][b] = lessMedian(strings, i, b)
		}
	}
	return out
}

func lessMedian(strings [][]BandLevel, i, b int) BandLevel {
	var levels, halves []float64
	for _, s := range strings {
		if s[b].Masked {
			continue
		}
		levels = append(levels, s[b].Level.Median)
		if v := s[b].Level.Interval; v != nil {
			halves = append(halves, (v.High-v.Low)/2)
		}
	}
	l := strings[i][b]
	if len(levels) < 2 {
		l.Masked = true
		return l
	}
	middle := stats.Median(levels)
	l.Level.Median -= middle
	if v := l.Level.Interval; v != nil {
		others := stats.Median(halves) / math.Sqrt(float64(len(levels)))
		own := strings[i][b].Level.Median
		l.Level.Interval = &stats.Interval{
			Low: l.Level.Median - math.Hypot(own-v.Low, others), High: l.Level.Median + math.Hypot(v.High-own, others), Coverage: v.Coverage,
		}
	}
	return l
}
