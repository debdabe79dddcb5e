package circuit

import (
	"errors"
	"math"
)

// Interval is a value with the bounds it may lie between.
type Interval struct{ Low, Mid, High float64 }

// overlaps tells whether the two have a value in common.
func (i Interval) overlaps(o Interval) bool { return i.Low <= o.High && o.Low <= i.High }

// ErrInterval means bounds out of order, or not above zero.
var ErrInterval = errors.New("a value needs 0 < low <= middle <= high")

// ErrParallelOnly means a question that has an answer for discs in parallel.
var ErrParallelOnly = errors.New("the number of working discs can be told for parallel wiring only")

func (i Interval) check() error {
	if !(0 < i.Low && i.Low <= i.Mid && i.Mid <= i.High) || math.IsInf(i.High, 1) {
		return ErrInterval
	}
	return nil
}

// withTolerance is the circuit's total capacitance in farad when each disc may
// be off by the fraction tolerance.
func (c Circuit) withTolerance(tolerance float64) Interval {
	s, shunt := c.SourceFarad(), c.ShuntFarad()
	return Interval{s*(1-tolerance) + shunt, s + shunt, s*(1+tolerance) + shunt}
}

func checkTolerance(tolerance float64) error {
	if !(tolerance >= 0 && tolerance < 1) {
		return errors.New("the discs' tolerance is a fraction from 0 to below 1")
	}
	return nil
}

// cornerOf is the corner of a resistance in ohm with a capacitance in farad,
// or, the formula being symmetric, the resistance that has that corner.
func cornerOf(a float64, b Interval) Interval {
	k := 1 / (2 * math.Pi * a)
	return Interval{k / b.High, k / b.Mid, k / b.Low}
}

// OhmForCorner is the resistance across the discs that explains a measured
// corner, when each disc's capacitance may be off by the fraction tolerance
// (0.3: 30 %).
func (c Circuit) OhmForCorner(cornerHz Interval, tolerance float64) (Interval, error) {
	if err := errors.Join(cornerHz.check(), checkTolerance(tolerance)); err != nil {
		return Interval{}, err
	}
	farad := c.withTolerance(tolerance)
	return Interval{
		cornerOf(cornerHz.High, farad).Low, cornerOf(cornerHz.Mid, farad).Mid, cornerOf(cornerHz.Low, farad).High,
	}, nil
}

// Explanation is a number of working discs with the corner it would have.
type Explanation struct {
	Working  int
	CornerHz Interval
	Fits     bool // that corner and the measured one overlap
}

// WorkingDiscs lists, for discs in parallel, what corner each number of
// working discs from none to all would have, and which of them explain the
// measured one. None is left out where there is no cable either.
func (c Circuit) WorkingDiscs(cornerHz Interval, tolerance float64) ([]Explanation, error) {
	if err := errors.Join(cornerHz.check(), checkTolerance(tolerance)); err != nil {
		return nil, err
	}
	if c.Wiring != Parallel {
		return nil, ErrParallelOnly
	}
	var out []Explanation
	for n := 0; n <= c.Discs; n++ {
		if n == 0 && c.ShuntFarad() == 0 {
			continue
		}
		part := c
		part.Discs = n
		e := Explanation{Working: n, CornerHz: cornerOf(c.InputOhm, part.withTolerance(tolerance))}
		e.Fits = e.CornerHz.overlaps(cornerHz)
		out = append(out, e)
	}
	return out, nil
}
