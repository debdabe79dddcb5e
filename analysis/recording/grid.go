package recording

import (
	"math"
	"math/bits"
)

// grid finds the steps that samples really come in: a recording of 16 bits
// copied into 24 or into float keeps its 16.
type grid struct {
	headerFS float64 // step the header promises; 0: float
	finest   uint64  // its bit, re 2^-31
	used     uint64  // bits seen, re 2^-31
	off      bool    // float samples that lie between multiples of 2^-23
	least    float64 // smallest second difference seen once off the grid
}

func newGrid(f Format) grid {
	g := grid{headerFS: f.quantumFS(), least: math.Inf(1)}
	if g.headerFS > 0 {
		g.finest = uint64(1) << (32 - f.ValidBits)
	}
	return g
}

func (g *grid) add(x []float64) {
	switch {
	case g.off:
		g.addOff(x)
	case g.used&g.finest != 0:
	case g.headerFS > 0:
		for _, v := range x {
			g.used |= uint64(int64(v * (1 << 31)))
		}
	default:
		g.addFloat(x)
	}
}

// addFloat leaves the grid at the first sample that is no multiple of 2^-23:
// larger single-precision samples are multiples of something finer whatever
// they came from.
func (g *grid) addFloat(x []float64) {
	for _, v := range x {
		scaled := v * (1 << 23)
		i := int64(scaled)
		g.off = g.off || float64(i) != scaled
		g.used |= uint64(i) << 8
	}
	if g.off {
		g.addOff(x)
	}
}

// addOff looks for the smallest second difference, until it is too small to
// matter: on a grid that was scaled it is a step, in a smooth wave it soon
// comes near nothing. What float's own rounding makes is none.
func (g *grid) addOff(x []float64) {
	if g.least < 2*roundingFS {
		return
	}
	for i := 2; i < len(x); i++ {
		if d := math.Abs(x[i] - 2*x[i-1] + x[i-2]); d > roundingFS && d < g.least {
			g.least = d
		}
	}
}

// roundingFS is above what a single-precision sample is rounded by.
const roundingFS = 1.0 / (1 << 22)

// quantumFS is the step as far as is known by now, as a fraction of full
// scale; 0 when there is none.
func (g *grid) quantumFS() float64 {
	switch {
	case g.off && !math.IsInf(g.least, 1):
		return g.least
	case g.off || g.used == 0:
		return g.headerFS
	}
	return float64(g.used&-g.used) / (1 << 31)
}

// bits is how many bits from full scale down are in use; 0: off the grid, or
// nothing but zeros.
func (g *grid) bits() int {
	if g.off || uint32(g.used) == 0 {
		return 0
	}
	return 32 - bits.TrailingZeros32(uint32(g.used))
}
