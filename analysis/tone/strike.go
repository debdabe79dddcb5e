package tone

import (
	"math"
	"math/cmplx"

	"saddlewise/analysis/signal"
)

// leastSNRdB is the fundamental over all noise that still makes a tone.
const leastSNRdB = 0.0

// measureStrike measures one span of what rings after its blow; false where
// noise drowns it.
func measureStrike(ringing []float64, rate float64, s span, hz float64, o Options) (Strike, bool) {
	x := ringing[s.from-s.blow:]
	d := max(1, int(rate/baseRate))
	z := signal.Baseband(x, rate, hz, d)
	if len(z) < 16 {
		return Strike{}, false
	}
	line := fitTone(z, float64(d)/rate)
	out := Strike{FromS: float64(s.from) / rate, ToS: float64(s.from+int64(len(x))) / rate}
	out.Hz = hz + line.omega/(2*math.Pi)
	out.SDHz = line.omegaSD / (2 * math.Pi)
	if line.alpha > 3*line.alphaSD && line.alpha*float64(len(x))/rate > 1e-3 {
		out.T60Seconds = 3 * math.Ln10 / line.alpha
		out.T60SD = out.T60Seconds * line.alphaSD / line.alpha
	}
	out.LevelDBFS = line.level(rate, d, float64(len(x))/rate)
	clean := x
	if out.T60Seconds > 0 {
		clean = x[:min(len(x), int(max(spectrumOfT60*out.T60Seconds, leastS)*rate))]
	}
	sp := newSpectrum(clean, rate)
	out.SDHz = math.Hypot(out.SDHz, sp.pull(out, o))
	sp.distortion(&out, o)
	if s.struck && out.T60Seconds > 0 {
		out.findClang(ringing, rate)
	}
	sp.noise(&out, o)
	return out, out.SNRDB > leastSNRdB
}

// level is the RMS of the line over the first second, dBFS.
func (d damped) level(rateHz float64, step int, seconds float64) float64 {
	seconds = min(seconds, 1)
	// The first value looks at the middle of its three blocks, and the moving
	// average takes its share off a line away from zero frequency.
	t0 := 1.5 * float64(step-1) / rateHz
	a := 2 * cmplx.Abs(d.c) / droop(d.omega/(2*math.Pi), float64(step)/rateHz) * math.Exp(d.alpha*t0)
	mean := 1.0
	if e := 2 * d.alpha * seconds; math.Abs(e) > 1e-9 {
		mean = -math.Expm1(-e) / e
	}
	return 10 * math.Log10(a*a*mean+1e-30)
}
