// Package circuit is the pickup as a circuit: discs as capacitors, the cable's
// capacitance, and the input's resistance across both.
//
// Well below its resonance a disc is a voltage source behind its static
// capacitance (ANSI/IEEE 176-1987). With the input's resistance it makes a
// first-order high-pass (e.g. Horowitz & Hill, The Art of Electronics, 3rd
// ed., section 1.7): corner f_c = 1/(2 pi R (C_discs + C_cable)), loss
// 10 log10(1 + (f_c/f)^2); the cable divides by C_discs/(C_discs + C_cable).
package circuit

import (
	"errors"
	"math"
)

// Wiring is how the discs are joined.
type Wiring string

// The wirings.
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
var ErrImpossible = errors.New("a circuit needs at least one disc, and capacitance and resistance above zero")

// Check says whether the circuit can be.
func (c Circuit) Check() error {
	if c.Discs < 1 || !(c.DiscNF > 0) || c.CablePF < 0 || c.InputPF < 0 || !(c.InputOhm > 0) {
		return ErrImpossible
	}
	return nil
}

// SourceFarad is the discs' capacitance together.
func (c Circuit) SourceFarad() float64 {
	one := c.DiscNF * 1e-9
	if c.Wiring == Series {
		return one / float64(c.Discs)
	}
	return one * float64(c.Discs)
}

func (c Circuit) shuntFarad() float64 { return (c.CablePF + c.InputPF) * 1e-12 }

// CornerHz is where the level is 3 dB down.
func (c Circuit) CornerHz() float64 {
	return 1 / (2 * math.Pi * c.InputOhm * (c.SourceFarad() + c.shuntFarad()))
}

// LossDB is the high-pass loss at hz, positive.
func (c Circuit) LossDB(hz float64) float64 { return 10 * math.Log10(1+math.Pow(c.CornerHz()/hz, 2)) }

// CableDivisionDB is the loss by cable and input capacitance at every
// frequency, positive.
func (c Circuit) CableDivisionDB() float64 {
	return 20 * math.Log10((c.SourceFarad()+c.shuntFarad())/c.SourceFarad())
}

// OhmForLoss is the input resistance that loses lossDB at hz.
func (c Circuit) OhmForLoss(lossDB, hz float64) float64 {
	cornerHz := hz * math.Sqrt(math.Pow(10, lossDB/10)-1)
	return 1 / (2 * math.Pi * cornerHz * (c.SourceFarad() + c.shuntFarad()))
}

// OpenDiscDB is how much louder the others get when one of the parallel discs
// is open: a disc's voltage is divided by all the others' capacitance, so one
// fewer raises each of the rest. 0 for a single disc or series wiring.
func (c Circuit) OpenDiscDB() float64 {
	if c.Discs < 2 || c.Wiring == Series {
		return 0
	}
	all := c.SourceFarad() + c.shuntFarad()
	return 20 * math.Log10(all/(all-c.DiscNF*1e-9))
}

// OhmForCorner is the input resistance that explains a measured corner.
func (c Circuit) OhmForCorner(cornerHz float64) float64 {
	return 1 / (2 * math.Pi * cornerHz * (c.SourceFarad() + c.shuntFarad()))
}

// DiscsForCorner is how many parallel discs explain a measured corner, as a
// real number.
func (c Circuit) DiscsForCorner(cornerHz float64) float64 {
	farad := 1/(2*math.Pi*cornerHz*c.InputOhm) - c.shuntFarad()
	return math.Max(0, farad/(c.DiscNF*1e-9))
}

// FaradFromLoads is the source's capacitance from one tone recorded with two
// load resistors: levels in dB at the same frequency, the larger resistor
// first. Levels fall by the high-pass of each load:
// ratio = (1 + (f_2/f)^2)/(1 + (f_1/f)^2) with f_i = 1/(2 pi R_i C).
func FaradFromLoads(hz, ohm1, level1DB, ohm2, level2DB float64) (float64, error) {
	k := math.Pow(10, (level1DB-level2DB)/10)
	w := 2 * math.Pi * hz
	top := 1/(ohm2*ohm2) - k/(ohm1*ohm1)
	if !(k > 1) || !(ohm1 > ohm2) || !(top > 0) {
		return 0, errors.New("the smaller load resistor must give the lower level, by less than the ratio of the two resistors")
	}
	return math.Sqrt(top/(k-1)) / w, nil
}
