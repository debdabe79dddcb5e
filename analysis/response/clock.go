package response

import (
	"context"
	"fmt"
	"math"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

const (
	clockLowHz   = 300.0
	clockWideS   = 0.04  // half the window of the first round, which holds a smear
	clockNarrowS = 0.015 // and of the others, which lets less noise in
	clockRounds  = 4
	mostPPM      = 400.0
	minimumBands = 8
	clockClear   = 100.0 // power over noise of a band that counts
	clockExactS  = 1e-6  // per e in frequency, what a response's own delay leaves behind

	normalFromMAD = 1.4826
	medianLoss    = 1.25 // error of a median slope over that of a mean, normal errors
)

// correctClock deconvolves again with the reference stretched, until the
// delay no longer changes along the sweep.
func (r *SweepResponse) correctClock(ctx context.Context, im *impulse, noise *signal.PSD, again func(ppm float64) *impulse) (*impulse, error) {
	for round := range clockRounds {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		half := clockNarrowS
		if round == 0 {
			half = clockWideS
		}
		more, plusMinus, ok := im.clockPPM(im.peakS(peakReachS), half, noiseIn{noise, im})
		r.ClockKnown, r.ClockPlusMinusPPM = ok, plusMinus
		if !ok || round > 0 && math.Abs(more) < 0.05 {
			break
		}
		if r.ClockPPM += more; math.Abs(r.ClockPPM) > mostPPM {
			return nil, fmt.Errorf("%w: its delay changes along the sweep, as when pieces are missing or the clocks differ by more than %g ppm", ErrNoSweep, mostPPM)
		}
		im = again(r.ClockPPM)
	}
	return im, nil
}

// clockPPM is by how much the recorder's clock still runs ahead of the
// player's. A stretched sweep meets the reference later the longer it lasts,
// so that the delay grows by L for every e in frequency. The response's own
// delay is taken off first as far as its magnitude tells it (the delay of the
// minimum-phase response of that magnitude, Oppenheim & Schafer, Discrete-Time
// Signal Processing, section on the complex cepstrum); the rest is a line. The
// window is symmetric, so that noise in it has no delay of its own, and bands
// that do not stand out of the noise have no say. plusMinus is a standard
// error, from how far the bands lie off the line.
func (im *impulse) clockPPM(atS, halfS float64, n noiseIn) (ppm, plusMinus float64, ok bool) {
	w := im.cut(atS, halfS, halfS)
	s := w.transform(im.rateHz)
	own := minimumDelay(s, im.ref)
	low, high := im.ref.validHz()
	var logHz, delay []float64
	for _, b := range signal.FractionalOctaves(6, math.Max(clockLowHz, 2*low), 0.9*high) {
		if meanPower(s, b) < clockClear*n.power(b.MidHz, w.energy) {
			continue
		}
		logHz = append(logHz, math.Log(b.MidHz))
		delay = append(delay, bandDelay(s, own, b)/im.rateHz)
	}
	if len(logHz) < minimumBands {
		return 0, 0, false
	}
	slope, intercept := stats.TheilSen(logHz, delay)
	off := make([]float64, len(delay))
	for i := range off {
		off[i] = math.Abs(delay[i] - intercept - slope*logHz[i])
	}
	x := stats.Describe(logHz)
	spread := normalFromMAD * stats.Median(off)
	share := 1e6 / im.ref.rateS
	chance := medianLoss * spread / (x.SD * math.Sqrt(float64(x.N)))
	return share * slope, share * math.Hypot(chance, clockExactS), true
}

func meanPower(s spectrum, b signal.Band) float64 {
	first, end := int(math.Ceil(b.LowHz/s.step)), int(math.Ceil(b.HighHz/s.step))
	sum := 0.0
	for _, c := range s.c[first:end] {
		sum += power(c)
	}
	return sum / float64(max(1, end-first))
}

// bandDelay is the mean delay in samples over a band, less the response's
// own, weighted by energy.
func bandDelay(s spectrum, own []float64, b signal.Band) float64 {
	sum, weight := 0.0, 0.0
	for k := int(math.Ceil(b.LowHz / s.step)); k < len(s.c) && float64(k)*s.step < b.HighHz; k++ {
		p := power(s.c[k])
		sum += delayProduct(s.c[k], s.moment[k]) - p*own[k]
		weight += p
	}
	return sum / weight
}

// minimumDelay is the group delay in samples of the minimum-phase response
// with the magnitude of s: with the folded cepstrum c[n] of its logarithm, the
// sum of n c[n] cos(n w). Outside the valid band the magnitude is held.
func minimumDelay(s spectrum, r *reference) []float64 {
	n := 2 * (len(s.c) - 1)
	fft := signal.NewFFT(n)
	log := make([]complex128, len(s.c))
	low, high := r.validHz()
	first, last := int(low/s.step)+1, int(high/s.step)
	for k := range log {
		p := power(s.c[min(max(k, first), last)])
		log[k] = complex(0.5*math.Log(math.Max(p, math.SmallestNonzeroFloat64)), 0)
	}
	cepstrum := fft.Inverse(nil, log)
	for i := range cepstrum {
		if i < n/2 {
			cepstrum[i] *= 2 * float64(i)
		} else {
			cepstrum[i] = 0
		}
	}
	delay := make([]float64, len(s.c))
	for k, c := range fft.Forward(nil, cepstrum) {
		delay[k] = real(c)
	}
	return delay
}
