package analysis

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/pitch"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
)

// What is loose knocks at every swing of the string: energy from 2 to 8 kHz
// that lies on no partial. The attack's own noise is left out.
const (
	rattleFromS = 0.06
	rattleToS   = 0.56
	rattleLowHz = 2000
	rattleTopHz = 8000
)

// rattleOf is the energy between the partials from 2 to 8 kHz re that of the
// whole note, early in the note, in dB; nil where partials lie too dense, the
// note is too short, or nothing stands out of the background. before is a
// stretch of background ahead of the note, empty where there is none.
func rattleOf(note, before []float64, rateHz float64, p pitch.Pitch) *float64 {
	from, to := int(rattleFromS*rateHz), int(rattleToS*rateHz)
	if to > len(note) || rateHz < 2.2*rattleLowHz || p.F1Hz < 25 {
		return nil
	}
	power, step := powerSpectrum(note[from:to], rateHz)
	between, bins := betweenPartials(power, step, p)
	total := 0.0
	for _, v := range power[1:] {
		total += v
	}
	if bins < 16 || total <= 0 {
		return nil
	}
	if n := min(len(before), int(hushS*rateHz)); n > int(0.05*rateHz) {
		hush, hushStep := powerSpectrum(before[len(before)-n:], rateHz)
		noise, noiseBins := betweenPartials(hush, hushStep, p)
		if noiseBins > 0 {
			expected := noise / float64(noiseBins) * float64(bins)
			if between -= expected; between < expected/2 {
				between = 0 // nothing stands out of the background
			}
		}
	}
	db := math.Max(result.RattleFloorDB, signal.PowerToDB(math.Max(between, 0)/total))
	return &db
}

// betweenPartials sums the power from 2 to 8 kHz that lies on no partial
// n f0 sqrt(1 + B n^2), over how many bins.
func betweenPartials(power []float64, stepHz float64, p pitch.Pitch) (sum float64, bins int) {
	b := 0.0
	if p.HasB {
		b = p.B
	}
	f0 := p.F1Hz / math.Sqrt(1+b)
	n, low, high := 0.0, 0.0, p.F1Hz
	for k := int(rattleLowHz / stepHz); k < len(power) && float64(k)*stepHz < rattleTopHz; k++ {
		hz := float64(k) * stepHz
		for hz > high {
			n++
			low, high = high, (n+1)*f0*math.Sqrt(1+b*(n+1)*(n+1))
		}
		if off := math.Min(hz-low, high-hz); off > math.Max(10, 0.006*hz) || off > 0.3*p.F1Hz {
			sum, bins = sum+power[k], bins+1
		}
	}
	return sum, bins
}

// powerSpectrum is the Hann-windowed power of x, mean square per bin.
func powerSpectrum(x []float64, rateHz float64) (power []float64, stepHz float64) {
	mean := signal.Sum(x) / float64(len(x))
	padded := make([]float64, signal.PowerOfTwo(len(x))) // powers of two transform quickly
	signal.FillHann(padded[:len(x)])
	for i, v := range x {
		padded[i] *= v - mean
	}
	power = signal.Energies(padded, padded)
	floats.Scale(2/(signal.HannPowerGain*float64(len(x))*float64(len(padded))), power)
	return power, rateHz / float64(len(padded))
}
