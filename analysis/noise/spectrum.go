package noise

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

const (
	shortestS = 0.5
	segmentS  = 0.7 // at most; a third of a short recording
	parts     = 8   // of the recording, for the interval
	// Hann segments a third apart: all samples weigh the same, and there is as
	// much to learn as from more of them.
	perSegment        = 3
	hannBandwidthBins = 1.5                     // equivalent noise bandwidth
	overlapRedundancy = 1 + 2*(0.22199+0.00083) // segments that weigh as one
)

// hannCorrelation is how the powers of Hann segments 0, 1, 2 and 3 thirds
// apart correlate in noise: the square of the window's autocorrelation (Harris
// 1978, section V), which a third apart is 0.47116, two thirds 0.02884.
var hannCorrelation = []float64{1, 0.22199, 0.00083, 0}

// spectrum is a power spectral density, in all and for each part of the
// recording in time.
type spectrum struct {
	stepHz   float64
	power    []float64   // full scale squared per Hz, one-sided
	part     [][]float64 // the same, of each part
	segments int
	dof      float64 // degrees of freedom of each bin
	seconds  float64 // of clean sound
}

func (s *spectrum) psd() signal.PSD {
	return signal.PSD{StepHz: s.stepHz, Power: s.power}
}

// average makes the spectrum of the clean stretches.
func average(ctx context.Context, src signal.Source, clean []run, mean float64) (*spectrum, error) {
	n, starts, err := plan(clean, src.Rate())
	if err != nil {
		return nil, err
	}
	s := &spectrum{stepHz: src.Rate() / float64(n), segments: len(starts), power: make([]float64, n/2+1)}
	for _, r := range clean {
		if r.end-r.first >= int64(n) {
			s.seconds += float64(r.end-r.first) / src.Rate()
		}
	}
	s.dof = 2 * math.Max(1, float64(len(starts))/overlapRedundancy)
	window := signal.Hann(n)
	fft := signal.NewFFT(n)
	view := sliding{src: src, held: make([]float64, n), at: -int64(n)}
	x, coefficients := make([]float64, n), make([]complex128, n/2+1)
	scale := 2 / (src.Rate() * float64(n) * window.PowerGain)
	count := min(parts, len(starts))
	s.part = make([][]float64, count)
	for p := range count {
		s.part[p] = make([]float64, n/2+1)
		first, end := p*len(starts)/count, (p+1)*len(starts)/count
		for _, at := range starts[first:end] {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if err := view.move(at); err != nil {
				return nil, err
			}
			taper(x, view.held, window.Coefficients, mean)
			addPower(s.part[p], fft.Forward(coefficients, x), scale)
		}
		for k, v := range s.part[p] {
			s.power[k] += v / float64(len(starts))
			s.part[p][k] = v / float64(end-first)
		}
	}
	return s, nil
}

// sliding holds a stretch of src and reads no sample twice while it moves on.
type sliding struct {
	src  signal.Source
	held []float64
	at   int64
}

func (s *sliding) move(at int64) error {
	kept := 0
	if ahead := at - s.at; ahead >= 0 && ahead < int64(len(s.held)) {
		kept = copy(s.held, s.held[ahead:])
	}
	s.at = at
	if got, err := s.src.ReadAt(s.held[kept:], at+int64(kept)); kept+got < len(s.held) {
		return fmt.Errorf("read samples from %d: %w", at+int64(kept), cause(err))
	}
	return nil
}

func taper(dst, x, window []float64, mean float64) {
	for i, w := range window {
		dst[i] = (x[i] - mean) * w
	}
}

func addPower(sum []float64, c []complex128, scale float64) {
	for k, v := range c {
		sum[k] += scale * (real(v)*real(v) + imag(v)*imag(v))
	}
}

// plan chooses the length of the segments and where they start: each clean
// stretch is covered from its first sample to its last.
func plan(clean []run, rateHz float64) (n int, starts []int64, err error) {
	longest := int64(0)
	for _, r := range clean {
		longest = max(longest, r.end-r.first)
	}
	if float64(longest) < shortestS*rateHz*(1-1e-9) {
		return 0, nil, ErrNotQuiet
	}
	n = fastLength(math.Min(segmentS*rateHz, float64(longest)/3))
	for _, r := range clean {
		room := r.end - r.first - int64(n)
		if room < 0 {
			continue
		}
		steps := (room*perSegment + int64(n) - 1) / int64(n)
		for i := int64(0); i <= steps; i++ {
			starts = append(starts, r.first+room*i/max(1, steps))
		}
	}
	return n, starts, nil
}

// fastLength is the largest of 2^a and 3 2^a that is not above limit.
func fastLength(limit float64) int {
	n := signal.PowerOfTwoWithin(int(limit))
	if float64(n)*1.5 <= limit {
		n += n / 2
	}
	return n
}

// weights are how much of each bin's density counts: the share of the bin
// that lies from LowerHz to upperHz, weighted.
func (s *spectrum) weights(upperHz float64, weightDB func(hz float64) float64) []float64 {
	w := make([]float64, len(s.power))
	for k := range w {
		hz := float64(k) * s.stepHz
		width := math.Min(hz+s.stepHz/2, upperHz) - math.Max(hz-s.stepHz/2, LowerHz)
		if width <= 0 {
			continue
		}
		w[k] = width
		if weightDB != nil {
			w[k] *= math.Exp(math.Ln10 / 10 * weightDB(hz))
		}
	}
	return w
}

// level integrates the spectrum with weights, some bins held down to a
// ceiling, and makes an interval of its parts.
func (s *spectrum) level(weights []float64, ceiling map[int]float64) stats.Estimate {
	held := slices.Sorted(maps.Keys(ceiling)) // in order, so that sums round alike on every run
	integrate := func(power []float64) float64 {
		sum := floats.Dot(weights, power)
		for _, k := range held {
			sum -= weights[k] * math.Max(0, power[k]-ceiling[k])
		}
		return sum
	}
	each := make([]float64, len(s.part))
	for p, power := range s.part {
		each[p] = integrate(power)
	}
	return s.estimate(integrate(s.power), each)
}

// estimate is the level of power with Student's interval from the spread of
// its parts, which overlap, carried to decibels to first order.
func (s *spectrum) estimate(power float64, each []float64) stats.Estimate {
	e := stats.Estimate{Median: signal.PowerToDBFS(power), N: len(each)}
	m := stats.Describe(each)
	if len(each) < 3 || !(m.Mean > 0) {
		return e
	}
	share, dof := overlapped(len(each), s.segments)
	half := 10 / math.Ln10 * student(dof) * m.SD / m.Mean * math.Sqrt(share)
	e.Interval = &stats.Interval{Low: e.Median - half, High: e.Median + half, Coverage: stats.Nominal}
	return e
}

// overlapped says by what the squared standard deviation of parts, into which
// the segments are dealt in order, is to be multiplied for the variance of the
// mean of all segments, and with how many degrees of freedom.
func overlapped(parts, segments int) (share, dof float64) {
	first := func(p int) int { return p * segments / parts }
	var own, all, total float64 // variances of the parts, covariances of all, of all weighed by size
	for p := range parts {
		for q := max(0, p-3); q <= min(p+3, parts-1); q++ {
			sum := 0.0
			for a := first(p); a < first(p+1); a++ {
				for b := max(first(q), a-3); b < min(first(q+1), a+4); b++ {
					sum += hannCorrelation[max(a-b, b-a)]
				}
			}
			total += sum
			sum /= float64((first(p+1) - first(p)) * (first(q+1) - first(q)))
			all += sum
			if p == q {
				own += sum
			}
		}
	}
	n := float64(parts)
	scatter := (own - all/n) / (n - 1)
	return total / float64(segments*segments) / scatter, n - 1
}

// thirdOctaves lists the levels of the bands that the resolution can tell
// apart.
func thirdOctaves(p signal.PSD, upperHz float64) []Level {
	var out []Level
	for _, b := range signal.FractionalOctaves(3, LowerHz*0.99, upperHz) {
		if b.HighHz-b.LowHz < hannBandwidthBins*p.StepHz || b.HighHz > p.Hz(len(p.Power)-1) {
			continue
		}
		out = append(out, Level{b, signal.PowerToDBFS(p.Band(b.LowHz, b.HighHz))})
	}
	return out
}

const thinPoints = 1600

// thin averages the density over even steps of log frequency from 10 Hz on;
// a step that holds a line keeps the line's peak.
func thin(p signal.PSD, n Noise) []Density {
	peaks := map[int]bool{}
	for _, l := range slices.Concat(n.Others, n.Hum.lines()) {
		peaks[int(math.Round(l.Hz/p.StepHz))] = true
	}
	last := len(p.Power) - 1
	ratio := math.Pow(p.Hz(last)/10, 1.0/thinPoints)
	var out []Density
	for k := max(1, int(10/p.StepHz)); k <= last; {
		end := min(max(k+1, int(float64(k)*ratio+0.5)), last+1)
		sum, peak := 0.0, -1
		for j := k; j < end; j++ {
			sum += p.Power[j]
			if peaks[j] && (peak < 0 || p.Power[j] > p.Power[peak]) {
				peak = j
			}
		}
		pt := Density{p.Hz(k+end-1) / 2, signal.PowerToDBFS(sum / float64(end-k))}
		if peak >= 0 {
			pt = Density{p.Hz(peak), signal.PowerToDBFS(p.Power[peak])}
		}
		out = append(out, pt)
		k = end
	}
	return out
}
