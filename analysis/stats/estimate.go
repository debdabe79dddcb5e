// Package stats makes honest numbers of few values: medians with
// distribution-free intervals, shifts between two samples with exact rank-sum
// intervals, and corrections for asking many questions at once.
//
// Nothing here assumes a normal distribution, and every interval carries the
// coverage it really has. Below three values there is no interval.
package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Nominal is the coverage that intervals aim at.
const Nominal = 0.95

// Interval holds the truth with the stated coverage.
type Interval struct {
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
	Coverage float64 `json:"coverage"`
}

// SE is the standard error that goes with the interval where errors are normal.
func (i Interval) SE() float64 { return (i.High - i.Low) / 2 / Normal(i.Coverage) }

// Normal is how many standard deviations either way hold coverage of normal
// values.
func Normal(coverage float64) float64 { return distuv.UnitNormal.Quantile((1 + coverage) / 2) }

// Estimate is a median with its interval.
type Estimate struct {
	Median   float64   `json:"median"`
	N        int       `json:"n"`
	Interval *Interval `json:"interval"` // nil: fewer than three values
}

// Summarize is the median of values and its interval: from six values on the
// interpolated order-statistic interval at 95 % (Hettmansperger & Sheather,
// Statistics & Probability Letters 4, 75-79, 1986); from three to five their
// range, with its exact coverage 1-2^(1-n); below three none. The median of no
// values, or of values that are not all finite, is NaN without interval.
func Summarize(values []float64) Estimate {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	if n > 0 && !finite(sorted[0], sorted[n-1]) { // NaN sorts first
		return Estimate{Median: math.NaN(), N: n}
	}
	est := Estimate{Median: Median(sorted), N: n}
	if n >= 3 {
		est.Interval = interpolated(sorted, medianCoverage(n))
	}
	return est
}

// medianCoverage is what the interval of a median of n values states.
func medianCoverage(n int) float64 {
	return math.Min(Nominal, 1-math.Ldexp(1, 1-n))
}

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// MoreForInterval is how many further values n values need for a 95 %
// interval; 0 when they have one.
func MoreForInterval(n int) int { return max(0, 6-n) }

// Median is the middle of values, NaN for none. The order of values is kept.
func Median(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return math.NaN()
	}
	s := values
	if !slices.IsSorted(values) {
		s = slices.Sorted(slices.Values(values))
	}
	return (s[(n-1)/2] + s[n/2]) / 2
}

// interpolated is the interval between order statistics d and d+1 (and their
// mirror images) that reaches coverage, which the whole range must do.
func interpolated(sorted []float64, coverage float64) *Interval {
	n := len(sorted)
	d := 1
	outer, inner := rankCoverage(n, 1), rankCoverage(n, 2)
	for d+1 <= n/2 && inner >= coverage {
		d++
		outer, inner = inner, rankCoverage(n, d+1)
	}
	share := (outer - coverage) / (outer - inner)
	lambda := float64(n-d) * share / (float64(d) + float64(n-2*d)*share)
	mix := func(a, b float64) float64 { return (1-lambda)*a + lambda*b }
	return &Interval{mix(sorted[d-1], sorted[d]), mix(sorted[n-d], sorted[n-d-1]), coverage}
}

// mostSummed values have probabilities that can be summed one by one, which is
// quicker than the incomplete beta function.
const mostSummed = 60

// rankCoverage is the exact chance that the median lies between the d-th
// smallest and the d-th largest of n values.
func rankCoverage(n, d int) float64 {
	if n > mostSummed {
		return 1 - 2*distuv.Binomial{N: float64(n), P: 0.5}.CDF(float64(d-1))
	}
	term, sum := math.Ldexp(1, -n), 0.0
	for i := range d {
		sum += term
		term *= float64(n-i) / float64(i+1)
	}
	return 1 - 2*sum
}
