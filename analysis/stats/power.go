package stats

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	alpha      = 1 - Nominal // two-sided size of the tests below
	manyWanted = 1000
)

// RankSumPower is the chance that the exact two-sided rank-sum test at 5 %
// sees shift between nx and ny normal values of standard deviation sd:
// Lehmann's normal approximation with the statistic's exact variance under
// the alternative (Nonparametrics, 1975, section 2.3) at the exact critical
// value. 0 where the samples are too small to reach 5 % at all.
func RankSumPower(nx, ny int, shift, sd float64) float64 {
	if nx < 1 || ny < 1 {
		return 0
	}
	critical, ok := criticalU(nx, ny)
	if !ok {
		return 0
	}
	d := math.Abs(shift) / (sd * math.Sqrt2)
	p := distuv.UnitNormal.CDF(d)
	both := bothBelow(d)
	m, n := float64(nx), float64(ny)
	mu := m * n * p
	variance := m*n*p*(1-p) + m*n*(m+n-2)*(both-p*p)
	if variance < 1e-12 {
		return 1
	}
	// Continuity correction: the statistic moves in whole steps.
	far := distuv.UnitNormal.Survival((m*n - critical - 0.5 - mu) / math.Sqrt(variance))
	near := distuv.UnitNormal.CDF((critical + 0.5 - mu) / math.Sqrt(variance))
	return math.Min(1, far+near)
}

// criticalU is the largest U whose two-sided p is at most 5 %.
func criticalU(m, n int) (float64, bool) {
	k, coverage := shiftRank(m, n, Nominal)
	return float64(k - 1), coverage >= Nominal-1e-12
}

// bothBelow is the chance that two normal values both lie below a third that
// is d times sqrt(2) standard deviations higher.
func bothBelow(d float64) float64 {
	f := func(z float64) float64 {
		c := distuv.UnitNormal.CDF(z + d*math.Sqrt2)
		return c * c * distuv.UnitNormal.Prob(z)
	}
	return quad.Fixed(f, -8, 8, 60, nil, 0)
}

// SmallestShift is the shift that RankSumPower sees with the wanted chance;
// +Inf where no shift is ever seen.
func SmallestShift(nx, ny int, sd, power float64) float64 {
	if _, ok := criticalU(max(nx, 1), max(ny, 1)); !ok || nx < 1 || ny < 1 {
		return math.Inf(1)
	}
	low, high := 0.0, sd
	for RankSumPower(nx, ny, high, sd) < power && high < 1e3*sd {
		low, high = high, 2*high
	}
	for range 50 {
		mid := (low + high) / 2
		if RankSumPower(nx, ny, mid, sd) < power {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// MoreForShift is how many further values each of the two samples needs
// before a shift is seen with the wanted chance; false when a thousand are not enough.
func MoreForShift(nx, ny int, shift, sd, power float64) (more int, ok bool) {
	enough := func(more int) bool { return RankSumPower(nx+more, ny+more, shift, sd) >= power }
	if enough(0) {
		return 0, true
	}
	if !enough(manyWanted) {
		return 0, false
	}
	low, high := 0, manyWanted
	for high-low > 1 {
		if mid := (low + high) / 2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high, true
}

// SmallestShiftGrouped is the shift that ShiftGrouped sees at 5 % with the
// wanted chance, given the groups at hand.
func SmallestShiftGrouped(x, y [][]float64, spread Spread, power float64) float64 {
	x, y = filled(x), filled(y)
	if len(x) == 0 || len(y) == 0 {
		return math.Inf(1)
	}
	df := float64(spread.DF)
	if len(x) == 1 && len(y) == 1 {
		sd := math.Sqrt((scatter(x) + scatter(y)) / 2)
		between := math.Sqrt2 * spread.SD * (quantile(Nominal, df) + quantile(2*power-1, df))
		return math.Hypot(SmallestShift(len(x[0]), len(y[0]), sd, power), between)
	}
	sd := math.Sqrt(spread.centreVariance(x) + spread.centreVariance(y))
	return sd * (quantile(Nominal, df) + quantile(2*power-1, df))
}
