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

// Stretch is what a spectrum is taken of; Lead counts its samples before the
// event.
type Stretch struct {
	Samples []float64
	Lead    int
}

// LeastSamples is the shortest stretch whose spectrum says anything.
const LeastSamples = 64

// mostGains is how many lengths of fades are kept: taps of a take are alike.
const mostGains = 8

// Spectrometer takes spectra of stretches two at a time, as the real and the
// imaginary part of one sequence, which takes little longer than one alone.
type Spectrometer struct {
	rateHz float64
	parts  [2][]float64
	z      []complex128
	gains  map[int][]float64 // of fades, by their length
}

// NewSpectrometer serves stretches of up to longest samples.
func NewSpectrometer(rateHz float64, longest int) *Spectrometer {
	n := signal.PowerOfTwo(max(longest, int(rateHz/8)))
	return &Spectrometer{
		rateHz: rateHz, gains: map[int][]float64{}, z: make([]complex128, n),
		parts: [2][]float64{make([]float64, n), make([]float64, n)},
	}
}

// Both is the energy spectra of a and b without their means before the event.
// The lead fades in and the last tenth fades out, so that hum cut off at the
// ends does not spill over all bands.
func (m *Spectrometer) Both(a, b Stretch) (first, second Spectrum) {
	n := len(m.z)
	first, second = m.faded(m.parts[0], a), m.faded(m.parts[1], b)
	for i, v := range m.parts[0] {
		m.z[i] = complex(v, m.parts[1][i])
	}
	z := signal.InPlace(m.z)
	scale := 1 / (2 * m.rateHz * m.rateHz)
	for k := range first.energy.Power {
		u, v := z[k], z[(n-k)&(n-1)]
		even, odd := u+v, u-v
		first.energy.Power[k] = scale * (real(even)*real(even) + imag(odd)*imag(odd))
		second.energy.Power[k] = scale * (imag(even)*imag(even) + real(odd)*real(odd))
	}
	return first, second
}

// faded puts the stretch into part, and gives a spectrum to be filled.
func (m *Spectrometer) faded(part []float64, s Stretch) Spectrum {
	x, n := part[:len(s.Samples)], len(part)
	clear(part[len(x):])
	lead := min(max(s.Lead, 0), len(x))
	base := mean(s.Samples[:lead])
	for i, v := range s.Samples {
		x[i] = v - base
	}
	lost := m.soften(x, 0, 1, min(lead, len(x)/10)) + m.soften(x, len(x)-1, -1, len(x)/10)
	return Spectrum{
		energy: signal.PSD{StepHz: m.rateHz / float64(n), Power: make([]float64, n/2+1)},
		Second: (float64(len(x)) - lost) / m.rateHz,
	}
}

// soften fades length samples of x from i on by the given step, and says how
// many whole samples of noise's power that takes away.
func (m *Spectrometer) soften(x []float64, i, step, length int) (lost float64) {
	gains, ok := m.gains[length]
	if !ok {
		if len(m.gains) == mostGains {
			clear(m.gains)
		}
		gains = make([]float64, length)
		for k := range gains {
			gains[k] = halfCosine(k, length)
		}
		m.gains[length] = gains
	}
	for k, gain := range gains {
		x[i+k*step] *= gain
		lost += 1 - gain*gain
	}
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
