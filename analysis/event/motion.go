package event

import (
	"fmt"
	"math"

	"saddlewise/analysis/signal"
)

// The grid of Motion.Waveform: the same for every sample rate, so that
// waveforms of different takes can be averaged and compared.
const (
	WaveformStepS  = 2e-5
	WaveformStartS = -0.002 // before onset
	waveformPoints = 501    // to 8 ms after it
)

// Motion is how an event begins.
type Motion struct {
	Sign       int     // +1 or -1; 0: cannot tell
	Confidence float64 // height of the first lobe over the background's standard deviation
	RiseMS     float64 // from onset to the first lobe's peak
	PeakFS     float64 // the first lobe's peak, with its sign; full scale 1
	DullnessHz float64 // mean frequency of the first 3 ms, by power: low when heard through the bridge
	Direct     bool    // false: too slow or too drawn out to be a contact at its own disc

	// Waveform is the motion about the onset, background taken away, every
	// WaveformStepS from WaveformStartS on. Full scale 1.
	Waveform []float64
}

// Limits of the first lobe.
const (
	surelyMoved  = 6.0   // standard deviations of the background
	lobeShare    = 0.04  // of the first milliseconds' peak: smaller lobes are not the contact
	clearShare   = 0.15  // of that peak: smaller first lobes are not trusted for the sign
	slowestRise  = 0.003 // s; half of a 3 ms contact, doubled
	contactSpanS = 0.004
)

// FirstMotion judges which way the disc moved first. noisePower is the
// background's mean square as in Found; it serves where the take begins too
// late to show the background itself.
func FirstMotion(src signal.Source, e Event, noisePower float64) (Motion, error) {
	work := borrowed()
	defer work.giveBack()
	v, err := e.lookAhead(work, src)
	if err != nil {
		return Motion{}, err
	}
	return motionOf(v, e, noisePower), nil
}

// lookAhead is the view of an event's background and first motion. Find has
// fitted the background; it is fitted here where that was not possible.
func (e Event) lookAhead(s *scratch, src signal.Source) (view, error) {
	rate := src.Rate()
	v, err := look(s, src, e.background, e.Prior, e.guard(rate), min(e.limit(src), e.Onset+int64(0.009*rate)))
	if err != nil {
		return view{}, fmt.Errorf("background of the event at %.3f s: %w", float64(e.Onset)/rate, err)
	}
	return v, nil
}

func motionOf(v view, e Event, noisePower float64) Motion {
	if v.bg.window < v.samples(0.005) {
		v.sd = math.Sqrt(noisePower)
	}
	m := Motion{Waveform: v.waveform(e.Onset)}
	m.judge(v, e)
	if e.TruncatedStart {
		m.Sign = 0
	}
	return m
}

// lobe is the motion between two zero crossings.
type lobe struct {
	at   int // its peak
	peak float64
}

// judge finds the first lobe that is motion rather than noise and decides.
func (m *Motion) judge(v view, e Event) {
	at := v.index(e.Onset)
	slack := v.samples(2e-4) + int(min(2*e.OnsetSDSamples, float64(v.samples(0.001))))
	if base, moved := v.touch(v.index(e.Onset) - v.samples(2e-4)); moved {
		v.r = v.scratch.copied(v.r)
		for i := range v.r {
			v.r[i] -= base
		}
	}
	y := v.r[max(0, at-slack):min(len(v.r), at+v.samples(contactSpanS))]
	lobes := lobesOf(y)
	largest := 0.0
	for _, l := range lobes {
		largest = max(largest, math.Abs(l.peak))
	}
	for _, l := range lobes {
		if h := math.Abs(l.peak); h < max(surelyMoved*v.sd, lobeShare*largest) {
			continue
		}
		m.PeakFS = l.peak
		m.RiseMS = max(0, float64(max(0, at-slack)+l.at-at)) / v.rateHz * 1000
		m.Confidence = math.Abs(l.peak) / max(v.sd, 1e-12)
		break
	}
	m.DullnessHz = meanFrequency(v.raw[at:min(len(v.raw), at+v.samples(0.003))], v.rateHz)
	share := math.Abs(m.PeakFS) / max(largest, 1e-300)
	m.Direct = m.PeakFS != 0 && m.RiseMS < slowestRise*1000 && share >= clearShare
	if m.Direct {
		m.Sign = 1
		if m.PeakFS < 0 {
			m.Sign = -1
		}
	}
}

// lobesOf splits y at its zero crossings.
func lobesOf(y []float64) []lobe {
	var lobes []lobe
	for i, v := range y {
		if n := len(lobes); n == 0 || v*lobes[n-1].peak < 0 {
			lobes = append(lobes, lobe{at: i, peak: v})
		} else if math.Abs(v) > math.Abs(lobes[n-1].peak) {
			lobes[n-1] = lobe{at: i, peak: v}
		}
	}
	return lobes
}

// meanFrequency is the square root of the second spectral moment, from the
// power of the slope over the power: sqrt(<x'^2>/<x^2>)/2pi.
func meanFrequency(x []float64, rateHz float64) float64 {
	power, slope := 0.0, 0.0
	for i, v := range x {
		power += v * v
		if i > 0 {
			slope += (v - x[i-1]) * (v - x[i-1])
		}
	}
	if power == 0 {
		return 0
	}
	return math.Sqrt(slope/power) * rateHz / (2 * math.Pi)
}

// waveform interpolates the residual on the common grid; zero outside the take.
func (v view) waveform(onset int64) []float64 {
	w := make([]float64, waveformPoints)
	for i := range w {
		t := float64(onset-v.first) + (WaveformStartS+float64(i)*WaveformStepS)*v.rateHz
		j := int(math.Floor(t))
		if j < 0 || j+1 >= len(v.raw) {
			continue
		}
		f := t - float64(j)
		w[i] = v.raw[j]*(1-f) + v.raw[j+1]*f
	}
	return w
}
