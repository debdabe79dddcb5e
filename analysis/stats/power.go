package stats

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// manyWanted is the most further values that are worth asking for.
const manyWanted = 1000

// RankSumPower is the chance that the exact two-sided rank-sum test at 5 %
// sees shift between nx and ny normal values of standard deviation sd; 0 where
// the samples are too small to reach 5 % at all. Within 3 points of the truth.
func RankSumPower(nx, ny int, shift, sd float64) float64 {
	critical, ok := criticalU(nx, ny)
	if !ok {
		return 0
	}
	d := math.Abs(shift) / sd
	if min(nx, ny) >= fewValues {
		return normalPower(nx, ny, d, critical)
	}
	up, down := seenFrom(nx, ny, int(critical))
	at, _ := slices.BinarySearch(up, d)
	lower, _ := slices.BinarySearch(down, d)
	return float64(at+len(down)-lower) / draws
}

// SmallestShift is the shift that RankSumPower sees with the wanted chance;
// +Inf where no shift is ever seen.
func SmallestShift(nx, ny int, sd, power float64) float64 {
	critical, ok := criticalU(nx, ny)
	if !ok {
		return math.Inf(1)
	}
	if min(nx, ny) < fewValues {
		up, _ := seenFrom(nx, ny, int(critical))
		return sd * up[min(draws-1, int(power*draws))]
	}
	low, high := 0.0, 100.0
	for range 50 {
		if mid := (low + high) / 2; normalPower(nx, ny, mid, critical) < power {
			low = mid
		} else {
			high = mid
		}
	}
	return sd * high
}

// Below fewValues on either side the normal approximation of the power is up
// to 20 points off; there it comes from draws of normal samples, seeded.
const (
	fewValues = 10
	draws     = 1500
)

// seenFrom is, for each draw of two samples of sd 1, the shift from which on
// the test sees y above x, and the one up to which it sees y below; sorted.
func seenFrom(nx, ny, critical int) (up, down []float64) {
	random := rand.New(rand.NewPCG(uint64(nx), uint64(ny)))
	x, y := make([]float64, nx), make([]float64, ny)
	diffs := make([]float64, 0, nx*ny)
	for range draws {
		for i := range x {
			x[i] = random.NormFloat64()
		}
		for i := range y {
			y[i] = random.NormFloat64()
		}
		diffs = diffs[:0]
		for _, a := range x {
			for _, b := range y {
				diffs = append(diffs, a-b)
			}
		}
		slices.Sort(diffs)
		up = append(up, diffs[len(diffs)-1-critical])
		down = append(down, diffs[critical])
	}
	slices.Sort(up)
	slices.Sort(down)
	return up, down
}

// normalPower is Lehmann's normal approximation with the statistic's exact
// variance under the alternative (Nonparametrics, 1975, section 2.3), at the
// exact critical value; d is the shift in standard deviations.
func normalPower(nx, ny int, d, critical float64) float64 {
	d /= math.Sqrt2
	p := distuv.UnitNormal.CDF(d)
	both := bothBelow(d)
	m, n := float64(nx), float64(ny)
	mu := m * n * p
	sd := math.Sqrt(m*n*p*(1-p) + m*n*(m+n-2)*(both-p*p))
	if !(sd > 1e-6) {
		return 1
	}
	// Continuity correction: the statistic moves in whole steps.
	far := distuv.UnitNormal.Survival((m*n - critical - 0.5 - mu) / sd)
	near := distuv.UnitNormal.CDF((critical + 0.5 - mu) / sd)
	return math.Min(1, far+near)
}

// criticalU is the largest U whose two-sided p is at most 5 %; false where
// there is none.
func criticalU(m, n int) (float64, bool) {
	if m < 1 || n < 1 {
		return 0, false
	}
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

// Sizes remembers, by the sizes of two samples, the smallest shift that they
// show: it comes from draws, and many pairs have the same sizes. Its zero
// value is ready; it is not for use by several goroutines at once.
type Sizes struct {
	unit map[sizesKey]float64
}

type sizesKey struct {
	nx, ny int
	power  float64
}

// smallest is SmallestShift for a standard deviation of 1.
func (z *Sizes) smallest(nx, ny int, power float64) float64 {
	key := sizesKey{nx, ny, power}
	v, ok := z.unit[key]
	if !ok {
		if z.unit == nil {
			z.unit = map[sizesKey]float64{}
		}
		v = SmallestShift(nx, ny, 1, power)
		z.unit[key] = v
	}
	return v
}

// SmallestShiftGrouped is the shift that ShiftGrouped sees at 5 % with the
// wanted chance, given the groups at hand; +Inf where either side has none.
func SmallestShiftGrouped(x, y [][]float64, spread Spread, power float64) float64 {
	return new(Sizes).SmallestShiftGrouped(x, y, spread, power)
}

// SmallestShiftGrouped is the function of that name.
func (z *Sizes) SmallestShiftGrouped(x, y [][]float64, spread Spread, power float64) float64 {
	x, y = filled(x), filled(y)
	if len(x) == 0 || len(y) == 0 {
		return math.Inf(1)
	}
	df := float64(spread.DF)
	times := quantile(Nominal, df) + quantile(2*power-1, df)
	if spread.DF > 0 {
		// A standard deviation of few degrees of freedom mostly comes out too small.
		times /= math.Sqrt(distuv.ChiSquared{K: df}.Quantile(0.5) / df)
	}
	if len(x) == 1 && len(y) == 1 {
		inside := math.Sqrt((Scatter(x) + Scatter(y)) / 2)
		return math.Hypot(inside*z.smallest(len(x[0]), len(y[0]), power), math.Sqrt2*spread.SD*times)
	}
	return math.Sqrt(spread.centreVariance(x)+spread.centreVariance(y)) * times
}
