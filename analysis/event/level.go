package event

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// Windows of the level definitions.
const (
	TapWindowS   = 0.050 // from onset
	PluckDelayS  = 0.020 // after onset
	PluckWindowS = 0.500
)

// Errors of MeasureLevel.
var (
	// ErrCutShort means that the next event or the take's end comes before
	// the level's window is over. A shorter window is never used instead.
	ErrCutShort = errors.New("the level's window is cut short")
	// ErrBelowNoise means that the window holds no more power than the noise.
	ErrBelowNoise = errors.New("the event does not rise above the noise")
)

// Level is how loud an event is.
type Level struct {
	RMSDBFS float64 // AES17, noise power subtracted
	PeakDB  float64 // largest deviation from the baseline, dB re full scale (a sine's peak of 1 reads 0)
	SNRDB   float64 // RMS level less the level of the background, hum included
	Clipped bool    // three or more equal samples in a row at the window's extreme
}

// MeasureLevel reads the event's window. noisePower is the background's mean
// square as in Found. The errors wrap ErrCutShort or ErrBelowNoise.
func MeasureLevel(src signal.Source, e Event, kind Kind, noisePower float64) (Level, error) {
	work := borrowed()
	defer work.giveBack()
	if kind == Pluck {
		return work.levelOf(src, e, kind, noisePower, nil)
	}
	v, err := e.lookAhead(work, src)
	if err != nil {
		return Level{}, err
	}
	return work.levelOf(src, e, kind, noisePower, &v)
}

// MeasureTap is MeasureLevel and FirstMotion of a tap with one fit of its
// background; levelErr is MeasureLevel's error.
func MeasureTap(src signal.Source, e Event, noisePower float64) (level Level, motion Motion, levelErr, err error) {
	work := borrowed()
	defer work.giveBack()
	v, err := e.lookAhead(work, src)
	if err != nil {
		return level, motion, nil, err
	}
	motion = motionOf(v, e, noisePower)
	level, levelErr = work.levelOf(src, e, Tap, noisePower, &v)
	return level, motion, levelErr, nil
}

// levelOf takes the view of a tap's background; a pluck needs none.
func (s *scratch) levelOf(src signal.Source, e Event, kind Kind, noisePower float64, v *view) (Level, error) {
	from, to := levelWindow(e, kind, src.Rate())
	if to > e.limit(src) {
		return Level{}, fmt.Errorf("level of the %s at %.3f s: %w (it lasts %.0f of %.0f ms)", kind, float64(e.Onset)/src.Rate(), ErrCutShort,
			max(0, float64(e.limit(src)-from))/src.Rate()*1000, float64(to-from)/src.Rate()*1000)
	}
	samples, err := signal.Segment(src, from, to-from)
	if err != nil {
		return Level{}, fmt.Errorf("read the %s at sample %d: %w", kind, from, err)
	}
	x := s.copied(samples)
	noise := clean(v, x, from, noisePower)
	power := floats.Dot(x, x)/float64(len(x)) - noise
	if !(power > 0) {
		return Level{}, fmt.Errorf("level of the %s at %.3f s: %w", kind, float64(e.Onset)/src.Rate(), ErrBelowNoise)
	}
	return Level{
		RMSDBFS: dbfs(power), PeakDB: 20 * math.Log10(max(1e-10, peakOf(x))),
		SNRDB: dbfs(power) - dbfs(noisePower), Clipped: flatTop(samples),
	}, nil
}

func levelWindow(e Event, kind Kind, rateHz float64) (from, to int64) {
	if kind == Pluck {
		from = e.Onset + int64(math.Round(PluckDelayS*rateHz))
		return from, from + int64(math.Round(PluckWindowS*rateHz))
	}
	return e.Onset, e.Onset + int64(math.Round(TapWindowS*rateHz))
}

// limit is Limit, or the take's end for an Event made by hand.
func (e Event) limit(src signal.Source) int64 {
	if e.Limit <= e.Onset {
		return src.Len()
	}
	return min(e.Limit, src.Len())
}

// clean takes baseline and hum from x, and gives the noise power that is left
// in it. Over a tap's 50 ms the background before it is predicted; over a
// pluck's 500 ms the string swings many times about its own baseline, and hum
// averages out against it.
func clean(v *view, x []float64, from int64, noisePower float64) float64 {
	if v == nil {
		straighten(x)
		return noisePower
	}
	bg := v.bg
	switch window := float64(bg.window); {
	case window < 0.005*v.rateHz: // nothing to judge the baseline by
		return noisePower
	case window < 0.08*v.rateHz: // slope and lines too coarse for 50 ms ahead
		bg.level, bg.slope, bg.lines = bg.level-bg.slope*(window+1)/2, 0, nil
	default:
		noisePower = min(noisePower, v.rawSD*v.rawSD)
	}
	bg.subtract(x, from, 1)
	return noisePower
}

// guard is where the background's window ends.
func (e Event) guard(rateHz float64) int64 {
	return e.Onset - int64(math.Ceil(max(3e-4*rateHz, min(3*e.OnsetSDSamples, 0.002*rateHz))))
}

// straighten takes away mean and trend.
func straighten(x []float64) {
	n := float64(len(x))
	sum, sumT := signal.Sum(x), slopeSum(x)
	slope := 0.0
	if n > 2 {
		slope = sumT / (n * (n*n - 1) / 12)
	}
	for i := range x {
		x[i] -= sum/n + slope*(float64(i)-(n-1)/2)
	}
}

// slopeSum is the sum of x times its distance from the middle, in samples.
func slopeSum(x []float64) float64 {
	middle := float64(len(x)-1) / 2
	var s [4]float64 // one addition does not wait for the other
	i := 0
	for ; i+4 <= len(x); i += 4 {
		v, t := (*[4]float64)(x[i:]), float64(i)-middle
		s[0], s[1], s[2], s[3] = s[0]+v[0]*t, s[1]+v[1]*(t+1), s[2]+v[2]*(t+2), s[3]+v[3]*(t+3)
	}
	for ; i < len(x); i++ {
		s[0] += x[i] * (float64(i) - middle)
	}
	return s[0] + s[1] + s[2] + s[3]
}

func peakOf(x []float64) float64 {
	peak := 0.0
	for _, v := range x {
		if size := math.Abs(v); size > peak {
			peak = size
		}
	}
	return peak
}

// flatTop finds three or more equal samples in a row at the largest or
// smallest value.
func flatTop(x []float64) bool {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		if v < lo {
			lo = v
		}
		if v > hi {
			hi = v
		}
	}
	for i := 2; i < len(x); i++ {
		if v := x[i]; (v == lo || v == hi) && x[i-1] == v && x[i-2] == v {
			return lo < hi
		}
	}
	return false
}
