package tone

import (
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/signal"
)

// Limits of the distortion measurement.
const (
	highestOrder = 10
	maskDB       = 10.0
	hiddenShare  = 0.12 // of the harmonics' power, half a decibel
	clangLow     = 5.8  // real forks' clang, times the fundamental (from memory)
	clangHigh    = 6.6
	spectrumS    = 3.0
	// A decaying tone is judged over its first 20 dB: later there is more noise.
	spectrumOfT60 = 1.0 / 3
)

// spectrum is the Hann-weighted power spectrum of one strike: bin powers sum
// to mean squares where a full-scale sine is 1.
type spectrum struct {
	power  []float64
	binHz  float64
	lobe   int       // bins on either side that hold a line
	x      []float64 // what it was made from
	rateHz float64
}

// newSpectrum takes the first samples, up to spectrumS.
func newSpectrum(x []float64, rateHz float64) *spectrum {
	size := quickSize(min(len(x), int(spectrumS*rateHz)))
	s := &spectrum{power: signal.HannPower(x[:size]), binHz: rateHz / float64(size), lobe: 5, x: x[:size], rateHz: rateHz}
	for k := range s.power {
		s.power[k] *= 2
	}
	return s
}

// quickSize is the largest length up to n that transforms quickly: 4 or 6
// times a power of two.
func quickSize(n int) int {
	size := 4
	for size*2 <= n {
		size *= 2
	}
	if size/4*6 <= n {
		return size / 4 * 6
	}
	return size
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
	slices.Sort(p)
	return p[len(p)/2] / math.Ln2
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

// width is how many bins on either side hold a line that decays.
func (s *spectrum) width(t60 float64, order int) int {
	half := s.lobe
	if t60 > 0 {
		half += int(3 * float64(order) * 3 * math.Ln10 / t60 / (2 * math.Pi) / s.binHz)
	}
	return half
}

func (s *spectrum) fundamental(o Strike) float64 {
	p, _ := s.line(o.Hz, 4*s.width(o.T60Seconds, 1))
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
		half := s.width(out.T60Seconds, n)
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
	half := 4 * s.width(out.T60Seconds, 1)
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

// findClang looks for the clang mode in the first quarter second after the blow.
func (o *Strike) findClang(src signal.Source, s span) error {
	rate := src.Rate()
	x, err := signal.Segment(src, s.blow, int64(0.35*rate))
	if err != nil {
		return fmt.Errorf("read the blow: %w", err)
	}
	if float64(len(x)) < 0.2*rate {
		return nil
	}
	sp := newSpectrum(x, rate)
	at, top := 0, 0.0
	for k := int(clangLow * o.Hz / sp.binHz); k <= int(clangHigh*o.Hz/sp.binHz) && k < len(sp.power)-1; k++ {
		if math.Abs(float64(k)*sp.binHz/o.Hz-6) > 0.03 && sp.power[k] > top && sp.power[k] >= sp.power[k-1] && sp.power[k] >= sp.power[k+1] {
			at, top = k, sp.power[k]
		}
	}
	if at == 0 || top < 30*sp.density(float64(at)*sp.binHz, 8) {
		return nil
	}
	l, m, r := math.Log(sp.power[at-1]+1e-300), math.Log(top), math.Log(sp.power[at+1]+1e-300)
	o.ClangHz = (float64(at) + 0.5*(l-r)/(l-2*m+r)) * sp.binHz
	p, _ := sp.line(o.ClangHz, 6)
	first, _ := sp.line(o.Hz, 6)
	o.ClangRelDB = decibel(p / first)
	return nil
}

func decibel(power float64) float64 { return 10 * math.Log10(max(power, 1e-30)) }
