package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// SummarizeMeasured is [Summarize] of values that each have an interval of
// their own, at [Nominal]. Errors that all share, as those of a model that fits
// none quite, do not show in the scatter: where the values lie closer together
// than their own intervals allow, what is missing is added in squares. Where
// that is nearly all there is, the interval states Nominal as they do. Shared
// errors no larger than the scatter stay unseen.
func SummarizeMeasured(values []float64, own []Interval) Estimate {
	est := Summarize(values)
	if est.Interval == nil || len(own) != len(values) {
		return est
	}
	down, up := make([]float64, len(own)), make([]float64, len(own))
	for i, v := range values {
		down[i], up[i] = v-own[i].Low, own[i].High-v
	}
	low, high := Median(down), Median(up)
	if !finite(low, high) {
		return est
	}
	z := Normal(Nominal)
	shared := sharedPart(Describe(values).SD, (low+high)/2/z, len(values))
	if seen := est.Interval.High - est.Interval.Low; shared*(low+high) > sharedRules*seen {
		est.Interval.Coverage = Nominal
	}
	shared *= Normal(est.Interval.Coverage) / z
	est.Interval.Low = est.Median - math.Hypot(est.Median-est.Interval.Low, shared*low)
	est.Interval.High = est.Median + math.Hypot(est.Interval.High-est.Median, shared*high)
	return est
}

const (
	leastLuck   = 0.1 // chance below which values lie too close together for their own errors
	sharedRules = 3   // times as wide as what the scatter shows, shared errors are nearly all
)

// sharedPart is the part of the values' own standard error that the scatter of
// n does not account for, even if it came out small by luck.
func sharedPart(scatter, ownSE float64, n int) float64 {
	if !(ownSE > 0) {
		return 0
	}
	df := float64(n - 1)
	atMost := scatter * math.Sqrt(df/distuv.ChiSquared{K: df}.Quantile(leastLuck))
	return math.Sqrt(math.Max(0, 1-atMost*atMost/(ownSE*ownSE)))
}
