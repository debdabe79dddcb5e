package analysis

import (
	"math"

	"saddlewise/analysis/pitch"
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
	if n := min(len(before), to-from); n > int(0.05*rateHz) {
		hush, hushStep := powerSpectrum(before[len(before)-n:], rateHz)
		noise, noiseBins := betweenPartials(hush, hushStep, p)
		if noiseBins > 0 {
			expected := noise / float64(noiseBins) * float64(bins)
			if between -= expected; between < expected/2 {
				between = 0 // nothing stands out of the background
			}
		}
	}
	db := math.Max(-90, signal.PowerToDB(math.Max(between, 0)/total))
	return &db
}

// betweenPartials sums the power from 2 to 8 kHz that lies on no partial, over
// how many bins.
func betweenPartials(power []float64, stepHz float64, p pitch.Pitch) (sum float64, bins int) {
	for k := int(rattleLowHz / stepHz); k < len(power) && float64(k)*stepHz < rattleTopHz; k++ {
		hz := float64(k) * stepHz
		if off := offPartial(hz, p); off > math.Max(10, 0.006*hz) || off > 0.3*p.F1Hz {
			sum, bins = sum+power[k], bins+1
		}
	}
	return sum, bins
}

// offPartial is the distance to the nearest partial n f0 sqrt(1 + B n^2), Hz.
func offPartial(hz float64, p pitch.Pitch) float64 {
	b := 0.0
	if p.HasB {
		b = p.B
	}
	f0 := p.F1Hz / math.Sqrt(1+b)
	at := func(n float64) float64 { return n * f0 * math.Sqrt(1+b*n*n) }
	n := hz / f0
	for range 4 {
		n = hz / (f0 * math.Sqrt(1+b*n*n))
	}
	n = math.Round(n)
	return math.Min(math.Abs(hz-at(n)), math.Min(math.Abs(hz-at(n-1)), math.Abs(hz-at(n+1))))
}

// powerSpectrum is the Hann-windowed power of x, mean square per bin.
func powerSpectrum(x []float64, rateHz float64) (power []float64, stepHz float64) {
	w := signal.Hann(len(x))
	mean, gain := 0.0, 0.0
	for i, v := range x {
		mean += v / float64(len(x))
		gain += w.Coefficients[i] * w.Coefficients[i]
	}
	n := 1
	for n < len(x) {
		n *= 2
	}
	padded := make([]float64, n)
	for i, v := range x {
		padded[i] = (v - mean) * w.Coefficients[i]
	}
	for _, c := range signal.Transform(padded) {
		power = append(power, 2*(real(c)*real(c)+imag(c)*imag(c))/(gain*float64(n)))
	}
	return power, rateHz / float64(n)
}
