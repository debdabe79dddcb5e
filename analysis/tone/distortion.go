package tone

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// Limits of the distortion measurement.
const (
	highestOrder = 10
	maskDB       = 10.0
	hiddenShare  = 0.12 // of the harmonics' power, half a decibel
	lobe         = 3    // bins on either side that hold a line
	notch        = 13   // bins on either side in which the tone's own foot counts
	clangLow     = 5.8  // real forks' clang, times the fundamental (from memory)
	clangHigh    = 6.6
	spectrumS    = 3.0
	// A decaying tone is judged over its first 20 dB: later there is more noise.
	spectrumOfT60 = 1.0 / 3
)

// spectrum is the Hann-weighted power spectrum of one strike: bin powers sum
// to mean squares where a full-scale sine is 1. It is the mean of two windows,
// which together reach over all samples, where one would leave a third or more out.
type spectrum struct {
	power  []float64
	binHz  float64
	x      []float64 // what it was made from
	starts []int     // of the windows
	size   int       // of a window
	rateHz float64
}

// newSpectrum takes the first samples, up to spectrumS. Windows are powers of
// two long, which transform quickly.
func newSpectrum(x []float64, rateHz float64) *spectrum {
	n := min(len(x), int(spectrumS*rateHz))
	size := signal.PowerOfTwoWithin(n)
	s := &spectrum{binHz: rateHz / float64(size), starts: []int{0}, size: size, rateHz: rateHz}
	if n-size >= size/2 {
		s.starts = append(s.starts, n-size)
	}
	s.x, s.power = x[:s.starts[len(s.starts)-1]+size], make([]float64, size/2+1)
	for _, from := range s.starts {
		floats.AddScaled(s.power, 2/float64(len(s.starts)), signal.HannPower(x[from:from+size]))
	}
	return s
}

// weight is how much the sample at a place counts.
func (s *spectrum) weight(at float64) float64 {
	sum := 0.0
	for _, from := range s.starts {
		if turns := (at - float64(from)) / float64(s.size); turns > 0 && turns < 1 {
			sum += math.Pow(math.Sin(math.Pi*turns), 4)
		}
	}
	return sum
}

// density is the noise power of one bin about hz: the median of bins away
// from the line there, which lone lines do not move.
func (s *spectrum) density(hz float64, skip int) float64 {
	k := int(math.Round(hz / s.binHz))
	var p []float64
	for j := skip; j < skip+60; j++ {
		for _, i := range []int{k - j, k + j} {
			if i > 0 && i < len(s.power) {
				p = append(p, s.power[i])
			}
		}
	}
	if len(p) == 0 {
		return 0
	}
	return signal.Nth(p, len(p)/2) / math.Ln2
}

// line is the power of the line at hz without the noise under it, and that noise.
func (s *spectrum) line(hz float64, half int) (power, noise float64) {
	k := int(math.Round(hz / s.binHz))
	lo, hi := max(1, k-half), min(len(s.power)-1, k+half)
	for i := lo; i <= hi; i++ {
		power += s.power[i]
	}
	noise = s.density(hz, half+1) * float64(hi-lo+1)
	return power - noise, noise
}

// spread is by how many bins decay widens a line on either side.
func (s *spectrum) spread(t60 float64, order int) int {
	if t60 <= 0 {
		return 0
	}
	return int(3 * float64(order) * 3 * math.Ln10 / t60 / (2 * math.Pi) / s.binHz)
}

// notch is how many bins on either side are the fundamental's.
func (s *spectrum) notch(o Strike) int { return notch + 4*s.spread(o.T60Seconds, 1) }

func (s *spectrum) fundamental(o Strike) float64 {
	p, _ := s.line(o.Hz, s.notch(o))
	return p
}

// distortion fills in the harmonics and their sum. Harmonics too weak to be
// shown singly still count in the sum, noise taken off: it is an upper bound
// only when it does not come out of the noise as a whole, or when what may
// hide in the mains matters.
func (s *spectrum) distortion(out *Strike, o Options) {
	first := s.fundamental(*out)
	sum, noises, hidden := 0.0, 0.0, 0.0
	for n := 2; n <= highestOrder; n++ {
		hz := out.Hz * float64(n)
		half := lobe + s.spread(out.T60Seconds, n)
		if hz > 20000 || int(hz/s.binHz)+half+60 >= len(s.power) {
			break
		}
		p, noise := s.line(hz, half)
		masked, untold := p < math.Pow(10, maskDB/10)*noise, 0.0
		if mains, hum := s.mainsBeside(hz, p, half, o); mains > 0 && !masked {
			told, most := s.apart(hz, mains, *out)
			if masked = told == 0; masked { // hum may add to the harmonic or take from it
				p, noise, untold = 0, 0, min(most, math.Pow(math.Sqrt(p+noise)+math.Sqrt(hum), 2))
			} else {
				p = told
			}
		}
		sum, noises, hidden = sum+p, noises+noise, hidden+untold
		h := Harmonic{Order: n, Hz: hz, Masked: masked}
		if masked {
			p = max(p, 0) + noise + untold
		}
		h.RelDB, h.LevelDBFS = decibel(p/first), decibel(p)
		out.Harmonics = append(out.Harmonics, h)
	}
	if out.THDMasked = sum < noises || hidden > hiddenShare*sum; out.THDMasked {
		sum = max(sum, 0) + noises + hidden
	}
	out.THDDB = decibel(sum / first)
	out.THDPercent = 100 * math.Sqrt(sum/first)
}

// noise fills in THD+N and the signal-to-noise ratio.
func (s *spectrum) noise(out *Strike, o Options) {
	first := s.fundamental(*out)
	half := s.notch(*out)
	centre := int(math.Round(out.Hz / s.binHz))
	clang := int(math.Round(out.ClangHz / s.binHz))
	rest := 0.0
	hi := min(len(s.power)-1, int(20000/s.binHz))
	inNotch, inClang := 0.0, 0.0
	for k := max(1, int(math.Ceil(20/s.binHz))); k <= hi; k++ {
		switch {
		case k >= centre-half && k <= centre+half:
			inNotch++
		case out.ClangHz > 0 && k >= clang-6*half && k <= clang+6*half:
			inClang++
		default:
			rest += s.power[k]
		}
	}
	rest += inNotch * s.density(out.Hz, half+1)
	if inClang > 0 {
		rest += inClang * s.density(out.ClangHz, 6*half+1)
	}
	out.THDNDB = decibel(rest / (rest + first))
	harmonics := 0.0
	for _, h := range out.Harmonics {
		if !h.Masked {
			harmonics += math.Pow(10, h.LevelDBFS/10)
		}
	}
	out.SNRDB = decibel(first / max(rest-harmonics, 1e-30))
}

// findClang looks for the clang mode in the first third of a second after the
// blow, at which x begins.
func (o *Strike) findClang(x []float64, rateHz float64) {
	if float64(len(x)) < 0.2*rateHz {
		return
	}
	sp := newSpectrum(x[:min(len(x), int(0.35*rateHz))], rateHz)
	at, top := 0, 0.0
	for k := int(clangLow * o.Hz / sp.binHz); k <= int(clangHigh*o.Hz/sp.binHz) && k < len(sp.power)-1; k++ {
		if math.Abs(float64(k)*sp.binHz/o.Hz-6) > 0.03 && sp.power[k] > top && sp.power[k] >= sp.power[k-1] && sp.power[k] >= sp.power[k+1] {
			at, top = k, sp.power[k]
		}
	}
	if at == 0 || top < 30*sp.density(float64(at)*sp.binHz, 8) {
		return
	}
	l, m, r := math.Log(sp.power[at-1]+1e-300), math.Log(top), math.Log(sp.power[at+1]+1e-300)
	o.ClangHz = (float64(at) + 0.5*(l-r)/(l-2*m+r)) * sp.binHz
	p, _ := sp.line(o.ClangHz, 6)
	first, _ := sp.line(o.Hz, 6)
	o.ClangRelDB = decibel(p / first)
}

func decibel(power float64) float64 { return 10 * math.Log10(max(power, 1e-30)) }
