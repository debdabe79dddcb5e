package noise

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/signal"
)

const (
	floorPerOctave = 24
	floorHalfBins  = 10  // neighbours on each side, at least
	floorShare     = 0.2 // or this share of the frequency
	floorMostBins  = 300 // taken of the neighbours
	lobeBins       = 3   // each side of a line that its main lobe fills
)

// floorCurve is the noise beneath the lines: the median density of the
// neighbours, which lines do not move as long as they fill less than half of
// them.
type floorCurve struct {
	at, log []float64 // bin, log density
	masked  []bool    // bins that lines fill
	stale   bool      // a bin was masked since the curve was drawn
}

func newFloor(s *spectrum) *floorCurve {
	f := &floorCurve{masked: make([]bool, len(s.power)), stale: true}
	f.draw(s)
	return f
}

// draw takes medians at steps of log frequency, leaving out masked bins.
func (f *floorCurve) draw(s *spectrum) {
	if !f.stale {
		return
	}
	f.stale = false
	f.at, f.log = f.at[:0], f.log[:0]
	last := len(s.power) - 1
	near := make([]float64, 0, 3*floorMostBins)
	bias := s.dof / distuv.ChiSquared{K: s.dof}.Quantile(0.5)
	for k := 2; k < last; k = max(k+1, int(float64(k)*math.Pow(2, 1.0/floorPerOctave))) {
		half := min(max(floorHalfBins, int(floorShare*float64(k))), k-1, last-k)
		near = near[:0]
		stride := max(1, 2*half/floorMostBins)
		for j := k - half; j <= k+half; j += stride {
			if !f.masked[j] && s.power[j] > 0 {
				near = append(near, s.power[j])
			}
		}
		if len(near) < 3 {
			continue
		}
		f.at = append(f.at, float64(k))
		f.log = append(f.log, math.Log(bias*signal.Nth(near, len(near)/2)))
	}
}

// density is the noise at a bin; 0 where there is none.
func (f *floorCurve) density(k int) float64 {
	if len(f.at) == 0 {
		return 0
	}
	i, found := slices.BinarySearch(f.at, float64(k))
	switch {
	case found || i == 0:
		return math.Exp(f.log[i])
	case i == len(f.at):
		return math.Exp(f.log[i-1])
	}
	t := (float64(k) - f.at[i-1]) / (f.at[i] - f.at[i-1])
	return math.Exp(f.log[i-1] + t*(f.log[i]-f.log[i-1]))
}

// mask leaves the main lobe around bin out of the floor.
func (f *floorCurve) mask(bin float64, half int) {
	k := int(math.Round(bin))
	for j := max(0, k-half); j <= min(k+half, len(f.masked)-1); j++ {
		f.stale = f.stale || !f.masked[j]
		f.masked[j] = true
	}
}

// student is the two-sided 95 % quantile of Student's t.
func student(dof float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: dof}.Quantile(0.975)
}
