// Package response answers: what does the pickup do to the sound, by
// frequency?
//
// From taps: the energy of each tap in fractional-octave bands (IEC
// 61260-1:2014, base ten), normalised to the tap's own energy from 200 Hz to
// 2 kHz. It is the pickup's response times the tap's own spectrum: fit for
// comparing strings and stages that were tapped alike, not absolute. A band
// in which the background is within 10 dB is masked.
package response

import (
	"errors"
	"math"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// Ranges of the summary, Hz.
var (
	LowRangeHz  = [2]float64{60, 200}
	MidRangeHz  = [2]float64{200, 1000}
	HighRangeHz = [2]float64{1000, 4000} // a fingertip puts little above
	refRangeHz  = [2]float64{200, 2000}  // every tap is normalised to its own energy here
)

const (
	lowestBandHz  = 50
	highestBandHz = 16000
	maskDB        = 10
	maskedShare   = 0.5 // of the taps
)

// Bands lists the bands of one over fraction octave that fit the rate.
func Bands(fraction int, rateHz float64) []signal.Band {
	return signal.FractionalOctaves(fraction, lowestBandHz, math.Min(highestBandHz, 0.45*rateHz))
}

// Spectrum is the energy of a short stretch by frequency.
type Spectrum struct {
	energy signal.PSD // integrates to energy, not power
	Second float64    // length of the stretch, its fades counted by their power
}

// ErrTooShort means a stretch of fewer than 64 samples.
var ErrTooShort = errors.New("too short for a spectrum")

// SpectrumOf is the energy spectrum of x without its mean before sample lead.
// The lead fades in and the last tenth fades out, so that hum cut off at the
// ends does not spill over all bands.
func SpectrumOf(x []float64, rateHz float64, lead int) (Spectrum, error) {
	if len(x) < 64 {
		return Spectrum{}, ErrTooShort
	}
	lead = min(max(lead, 0), len(x))
	n := powerOfTwo(max(len(x), int(rateHz/8)))
	padded := make([]float64, n)
	base := mean(x[:lead])
	for i, v := range x {
		padded[i] = v - base
	}
	fadeIn, fadeOut := min(lead, len(x)/10), len(x)/10
	s := Spectrum{Second: (float64(len(x)) - fade(padded[:len(x)], fadeIn, fadeOut)) / rateHz}
	s.energy = signal.PSD{StepHz: rateHz / float64(n), Power: make([]float64, n/2+1)}
	for k, c := range signal.Transform(padded) {
		s.energy.Power[k] = 2 * (real(c)*real(c) + imag(c)*imag(c)) / (rateHz * rateHz)
	}
	return s, nil
}

// fade softens the first and the last samples of x, and says how many whole
// samples of noise's power that takes away.
func fade(x []float64, first, last int) (lost float64) {
	soften := func(i, step, length int) {
		for k := range length {
			gain := halfCosine(k, length)
			x[i+k*step] *= gain
			lost += 1 - gain*gain
		}
	}
	soften(0, 1, first)
	soften(len(x)-1, -1, last)
	return lost
}

// halfCosine rises from 0 to 1 over length steps.
func halfCosine(i, length int) float64 {
	if i >= length {
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(length))
}

func mean(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// TapBands is one tap's band levels.
type TapBands struct {
	LevelDB        []float64 // re the tap's energy from 200 Hz to 2 kHz
	AboveNoiseDB   []float64 // tap and background over background; +Inf without one
	Low, Mid, High float64   // band summary, dB re the same; NaN where masked
}

// TapFrom reads one tap's bands, the background's energy taken off.
// background is the spectrum of a stretch without events, nil for none.
func TapFrom(tap Spectrum, background *Spectrum, bands []signal.Band) TapBands {
	ref, _ := energyIn(tap, background, refRangeHz[0], refRangeHz[1])
	t := TapBands{}
	for _, b := range bands {
		e, above := energyIn(tap, background, b.LowHz, b.HighHz)
		t.LevelDB = append(t.LevelDB, signal.PowerToDB(e/ref))
		t.AboveNoiseDB = append(t.AboveNoiseDB, above)
	}
	t.Low = rangeLevel(tap, background, LowRangeHz, ref)
	t.Mid = rangeLevel(tap, background, MidRangeHz, ref)
	t.High = rangeLevel(tap, background, HighRangeHz, ref)
	return t
}

func rangeLevel(tap Spectrum, background *Spectrum, hz [2]float64, ref float64) float64 {
	e, above := energyIn(tap, background, hz[0], hz[1])
	if above < maskDB {
		return math.NaN()
	}
	return signal.PowerToDB(e / ref)
}

// energyIn is the tap's energy from lowHz to highHz less the background's,
// and by how much the two together stand above the background. Where the
// background swallows the tap, a tenth of what was seen is kept.
func energyIn(tap Spectrum, background *Spectrum, lowHz, highHz float64) (energy, aboveDB float64) {
	seen := tap.energy.Band(lowHz, highHz)
	if background == nil {
		return seen, math.Inf(1)
	}
	noise := background.energy.Band(lowHz, highHz) * tap.Second / background.Second
	if noise <= 0 {
		return seen, math.Inf(1)
	}
	return math.Max(seen-noise, seen/10), signal.PowerToDB(seen / noise)
}

// BandLevel is one band over all taps of a string.
type BandLevel struct {
	Band   signal.Band
	Level  stats.Estimate // dB
	Masked bool
}

// Over is the median and interval of every band over taps, which must have
// been read with the same bands.
func Over(taps []TapBands, bands []signal.Band) []BandLevel {
	var out []BandLevel
	for i, b := range bands {
		var levels []float64
		masked := 0
		for _, t := range taps {
			if t.AboveNoiseDB[i] < maskDB {
				masked++
			}
			levels = append(levels, t.LevelDB[i])
		}
		out = append(out, BandLevel{b, stats.Summarize(levels), float64(masked) > maskedShare*float64(len(taps))})
	}
	return out
}

// AgreementDB is the median over bands of the standard deviation between
// taps; NaN below two taps.
func AgreementDB(taps []TapBands) float64 {
	if len(taps) < 2 {
		return math.NaN()
	}
	var sds []float64
	for i := range taps[0].LevelDB {
		m, squares := 0.0, 0.0
		for _, t := range taps {
			m += t.LevelDB[i] / float64(len(taps))
		}
		for _, t := range taps {
			squares += (t.LevelDB[i] - m) * (t.LevelDB[i] - m)
		}
		sds = append(sds, math.Sqrt(squares/float64(len(taps)-1)))
	}
	return stats.Median(sds)
}
