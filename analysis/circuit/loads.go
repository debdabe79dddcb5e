package circuit

import (
	"errors"
	"math"
)

// Load is one recording with a known resistor across the pickup: the whole
// resistance there, the input's own included, and the level of the tone.
type Load struct {
	Ohm     float64
	LevelDB float64 // any reference, the same for both
}

// ErrLoads means levels that no capacitance explains.
var ErrLoads = errors.New("the smaller resistor must give the lower level, by less than the ratio of the two resistors")

// FaradFromLoads is the capacitance of discs, cable and input together, from
// one tone of hz recorded with two loads. The tone's two levels must be known
// to spreadDB of each other. Each level falls by the high-pass of its load, so
//
//	10^((L1-L2)/10) = (1 + 1/(w R2 C)^2) / (1 + 1/(w R1 C)^2)
//
// which is solved for C. High is +Inf, or Low 0, where the spread allows it.
func FaradFromLoads(hz float64, one, two Load, spreadDB float64) (Interval, error) {
	if one.Ohm < two.Ohm {
		one, two = two, one
	}
	fall := one.LevelDB - two.LevelDB
	mid := faradFromFall(hz, one.Ohm, two.Ohm, fall)
	if !(two.Ohm > 0) || !(one.Ohm > two.Ohm) || !(hz > 0) || !(spreadDB >= 0) || !(mid > 0) || math.IsInf(mid, 1) {
		return Interval{}, ErrLoads
	}
	return Interval{
		faradFromFall(hz, one.Ohm, two.Ohm, fall+spreadDB), mid, faradFromFall(hz, one.Ohm, two.Ohm, fall-spreadDB),
	}, nil
}

// faradFromFall is 0 where the fall is all that the resistors allow, +Inf
// where there is none.
func faradFromFall(hz, largeOhm, smallOhm, fallDB float64) float64 {
	k := math.Pow(10, fallDB/10)
	top := 1/(smallOhm*smallOhm) - k/(largeOhm*largeOhm)
	switch {
	case !(k > 1):
		return math.Inf(1)
	case !(top > 0):
		return 0
	}
	return math.Sqrt(top/(k-1)) / (2 * math.Pi * hz)
}

// Corner is a measured low corner with a known resistor soldered across the
// pickup, the input's own resistance not included.
type Corner struct {
	Ohm float64
	Hz  Interval
}

// FromCorners is the capacitance of discs, cable and input together and the
// input's own resistance, from the corners that two known resistors give:
// conductances add, 1/R + 1/R_in = 2 pi C f_c, twice. Upper bounds are +Inf
// where the corners' intervals allow it.
func FromCorners(one, two Corner) (farad, inputOhm Interval, err error) {
	if one.Ohm > two.Ohm {
		one, two = two, one
	}
	if err := errors.Join(one.Hz.check(), two.Hz.check()); err != nil {
		return farad, inputOhm, err
	}
	if !(one.Ohm > 0) || !(two.Ohm > one.Ohm) || !(one.Hz.Mid > two.Hz.Mid) {
		return farad, inputOhm, errors.New("the smaller resistor must give the higher corner")
	}
	solve := func(oneHz, twoHz float64) (farad, ohm float64) {
		siemens := 1/one.Ohm - 1/two.Ohm
		if !(oneHz > twoHz) {
			return math.Inf(1), 0
		}
		own := siemens*oneHz/(oneHz-twoHz) - 1/one.Ohm
		if !(own > 0) {
			return siemens / (2 * math.Pi * (oneHz - twoHz)), math.Inf(1)
		}
		return siemens / (2 * math.Pi * (oneHz - twoHz)), 1 / own
	}
	farad.Mid, inputOhm.Mid = solve(one.Hz.Mid, two.Hz.Mid)
	farad.Low, inputOhm.High = solve(one.Hz.High, two.Hz.Low)
	farad.High, inputOhm.Low = solve(one.Hz.Low, two.Hz.High)
	return farad, inputOhm, nil
}

// ParallelOhm is two resistors side by side.
func ParallelOhm(a, b float64) float64 { return 1 / (1/a + 1/b) }
