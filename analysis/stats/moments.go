package stats

import "math"

// Moments are the mean, the standard deviation (divisor n-1; NaN below two
// values) and the lag-1 autocorrelation (NaN below two values).
type Moments struct {
	Mean, SD, Lag1 float64
	N              int
}

// Describe takes the moments of values in the order given, in two passes
// (Chan, Golub & LeVeque, American Statistician 37, 242-247, 1983): small
// scatter on a large offset keeps its digits.
func Describe(values []float64) Moments {
	n := len(values)
	if n == 0 {
		return Moments{math.NaN(), math.NaN(), math.NaN(), 0}
	}
	mean := compensatedMean(values)
	var squares, products float64
	for i, v := range values {
		d := v - mean
		squares += d * d
		if i > 0 {
			products += d * (values[i-1] - mean)
		}
	}
	m := Moments{Mean: mean, SD: math.NaN(), Lag1: math.NaN(), N: n}
	if n > 1 {
		m.SD = math.Sqrt(squares / float64(n-1))
		m.Lag1 = products / squares
	}
	return m
}

// compensatedMean sums as Neumaier (ZAMM 54, 39-51, 1974) does.
func compensatedMean(values []float64) float64 {
	var sum, lost float64
	for _, v := range values {
		t := sum + v
		if math.Abs(sum) >= math.Abs(v) {
			lost += sum - t + v
		} else {
			lost += v - t + sum
		}
		sum = t
	}
	return (sum + lost) / float64(len(values))
}
