// Package circuit is the pickup as a circuit: discs as capacitors, the cable's
// and the input's capacitance, and the input's resistance across them all.
//
// Well below its resonance a disc is a voltage source behind its static
// capacitance (ANSI/IEEE 176-1987). With the input's resistance R it makes a
// first-order high-pass (e.g. Horowitz & Hill, The Art of Electronics, 3rd
// ed., section 1.7): corner f_c = 1/(2 pi R (C_source + C_shunt)), loss
// 10 log10(1 + (f_c/f)^2), where the shunt is cable and input together; the
// shunt also divides the voltage by C_source/(C_source + C_shunt) at every
// frequency. Losses are positive decibels.
//
// A measured corner, or two levels with two load resistors, is solved the
// other way. All of it holds well below the discs' resonance of some
// kilohertz.
package circuit

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
)

// Wiring is how equal discs are joined: "parallel", "series", or a mix such
// as "2s3p", groups of two in series, three such groups in parallel, or
// "2p3s", groups of two in parallel, three such groups in series.
type Wiring string

// The plain wirings.
const (
	Parallel Wiring = "parallel"
	Series   Wiring = "series"
)

// Circuit is a pickup of equal discs with its cable and input.
type Circuit struct {
	Discs    int
	Wiring   Wiring
	DiscNF   float64 // each
	CablePF  float64
	InputPF  float64
	InputOhm float64
}

// ErrImpossible means values that no circuit has.
var ErrImpossible = errors.New("a circuit needs at least one disc, capacitance and resistance above zero, and a wiring that takes all discs")

// Check says whether the circuit can be. All methods need one that can.
func (c Circuit) Check() error {
	positive := c.DiscNF > 0 && c.InputOhm > 0 && !math.IsInf(c.DiscNF, 0) && !math.IsInf(c.InputOhm, 0)
	shunt := c.CablePF >= 0 && c.InputPF >= 0 && !math.IsInf(c.CablePF+c.InputPF, 0)
	if c.Discs < 1 || !positive || !shunt {
		return ErrImpossible
	}
	s, ok := c.shape()
	switch {
	case !ok:
		return fmt.Errorf(`wiring %q is unknown; parallel, series, and mixes such as 2s2p or 2p2s are allowed`, c.Wiring)
	case s.each*s.groups != c.Discs:
		return fmt.Errorf("wiring %s takes %d discs, and there are %d", c.Wiring, s.each*s.groups, c.Discs)
	}
	return nil
}

// shape is any wiring as equal groups: each discs in a group, joined in
// series inside and in parallel outside, or the other way about.
type shape struct {
	each, groups int
	parallelIn   bool
}

var mixed = regexp.MustCompile(`^([1-9][0-9]?)(?:s([1-9][0-9]?)p|p([1-9][0-9]?)s)$`)

func (c Circuit) shape() (shape, bool) {
	switch c.Wiring {
	case Parallel:
		return shape{1, c.Discs, false}, true
	case Series:
		return shape{c.Discs, 1, false}, true
	}
	m := mixed.FindStringSubmatch(string(c.Wiring))
	if m == nil {
		return shape{}, false
	}
	each, err1 := strconv.Atoi(m[1])
	groups, err2 := strconv.Atoi(m[2] + m[3])
	return shape{each, groups, m[3] != ""}, err1 == nil && err2 == nil
}

// SourceFarad is the discs' capacitance together.
func (c Circuit) SourceFarad() float64 { return c.output(0, nowhere, sound).farad }

// ShuntFarad is the capacitance across the output: cable and input.
func (c Circuit) ShuntFarad() float64 { return (c.CablePF + c.InputPF) * 1e-12 }

// CornerHz is where the level is 3 dB down.
func (c Circuit) CornerHz() float64 {
	return 1 / (2 * math.Pi * c.InputOhm * (c.SourceFarad() + c.ShuntFarad()))
}

// LossDB is the high-pass loss at hz.
func (c Circuit) LossDB(hz float64) float64 {
	r := c.CornerHz() / hz
	return 10 * math.Log10(1+r*r)
}

// CableDivisionDB is the loss by cable and input capacitance at every
// frequency.
func (c Circuit) CableDivisionDB() float64 {
	return 20 * math.Log10(1+c.ShuntFarad()/c.SourceFarad())
}

// TotalLossDB is the loss at hz below the open-circuit voltage of all discs
// together.
func (c Circuit) TotalLossDB(hz float64) float64 { return c.LossDB(hz) + c.CableDivisionDB() }

// PhaseDegrees is how far the output leads the open-circuit voltage at hz.
func (c Circuit) PhaseDegrees(hz float64) float64 {
	return math.Atan2(c.CornerHz(), hz) * 180 / math.Pi
}

// OhmForLoss is the least input resistance that loses no more than lossDB at
// hz; both must be above zero.
func (c Circuit) OhmForLoss(lossDB, hz float64) float64 {
	cornerHz := hz * math.Sqrt(math.Expm1(lossDB*math.Ln10/10))
	return 1 / (2 * math.Pi * cornerHz * (c.SourceFarad() + c.ShuntFarad()))
}

// EachNF is one disc's capacitance when all of them with the shunt make
// totalFarad; not above zero when the shunt alone is more.
func (c Circuit) EachNF(totalFarad float64) float64 {
	one := c
	one.DiscNF = 1
	return (totalFarad - c.ShuntFarad()) / one.SourceFarad()
}
