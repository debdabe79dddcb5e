// Package decay answers one question: how long does a note ring?
//
// The number is T60, the time in which the level of one partial falls by
// 60 dB, extrapolated from the part of its envelope between 5 and 25 dB below
// the start. That range, and the factor 3 that carries it to 60 dB, are those
// of T20 in ISO 3382-1:2009. T60 = ln(1000) tau, with tau the time constant
// of the amplitude (Fletcher & Rossing, The Physics of Musical Instruments,
// chapter 1).
//
// The partial is shifted to zero frequency and filtered by a window that
// looks forward in time only, inside the note. A decaying exponential passes
// such a filter changed in level alone, so the filter's own ringing never
// adds to T60, however short the note. The squared envelope is then fitted by
// one decay, or by two that may beat, plus the power of the noise: the noise
// is part of the model and is not subtracted from single points.
//
// [Backward] offers Schroeder's backward integration (JASA 37, 409-412,
// 1965) as the second, independent way to the same number.
//
// Levels are in dBFS of AES17: a full-scale sine is 0.
package decay

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// ln1000 is T60 over the time constant of the amplitude.
const ln1000 = 3 * math.Ln10

// The evaluation range, dB below the start: ISO 3382-1:2009, T20.
const (
	rangeTopDB    = -5.0
	rangeBottomDB = -25.0
)

// minUsableDB is the least drop below the top of the evaluation range that is
// extrapolated when the recording, not the noise, ends the decay; common
// practice, no source.
const minUsableDB = 6.5

// ErrInput says that the samples or options cannot be measured at all.
var ErrInput = errors.New("decay: unusable input")

// Options say what to look at.
type Options struct {
	// Hz is the partial's frequency, from the pitch measure; 0: the whole band.
	Hz float64
	// HumHz are the frequencies of mains lines known to be in the take.
	HumHz []float64
	// WindowS fixes the filter's length in seconds; 0: chosen from Hz and the
	// decay itself.
	WindowS float64
}

// Point is one point of a curve.
type Point struct {
	TimeS   float64 // from the first sample
	LevelDB float64 // dBFS, lifted by what the filter takes off a decay
}

// Decay is how one note dies away. Times count from the first sample given.
type Decay struct {
	T60Seconds float64 // 0: none could be told, see Reason
	// T60Low and T60High are the 95 % interval of this one event's fit,
	// seconds: of the line through the envelope as it is, over every model that
	// explains it. Where the record ends before the foot of the evaluation range
	// it holds also the line that they imply down to there.
	T60Low, T60High float64

	StartDBFS float64 // level of the start that the range counts from
	RangeDB   float64 // from the start down to the noise, or to the end of the record
	FitFromS  float64
	FitToS    float64
	FitToDB   float64 // lower end of the range fitted, re the start; -25 unless the record ends before
	FitRMSdB  float64 // envelope about the fit, over the range

	TwoStage        bool
	EarlyT60Seconds float64 // of the first stage alone
	LateT60Seconds  float64
	LateT60Low      float64
	LateT60High     float64
	KneeS           float64 // where both stages are equally strong
	KneeDB          float64 // level there, re the start
	Beating         bool
	BeatHz          float64
	BeatDepthDB     float64    // largest over smallest envelope of one beat, inside the range
	T60RangeSeconds [2]float64 // deep or slow beats, ill-seen stages: the range that the decay supports; T60Seconds then is 0
	NotEnoughRange  bool
	Reason          string  // why there is no T60, or what limits it
	DampedAtS       float64 // where the note was stopped by hand or cut; 0: it rang out
	Envelope        []Point // at most 400 points
	Fit             []Point // the fitted curve over the range
}

// Measure tells how long the note in x rings. x runs from the note's onset to
// the next note's, or to the end of the take.
func Measure(x []float64, rateHz float64, o Options) (Decay, error) {
	if err := check(x, rateHz, o); err != nil {
		return Decay{}, err
	}
	e, why := envelopeOf(x, rateHz, o)
	if why != "" {
		return Decay{NotEnoughRange: true, Reason: why}, nil
	}
	return judge(e), nil
}

func check(x []float64, rateHz float64, o Options) error {
	switch {
	case !(rateHz > 0) || math.IsInf(rateHz, 0):
		return fmt.Errorf("%w: sample rate %v Hz", ErrInput, rateHz)
	case o.Hz < 0 || math.IsNaN(o.Hz) || o.Hz >= rateHz/2:
		return fmt.Errorf("%w: partial at %v Hz with %v samples a second", ErrInput, o.Hz, rateHz)
	}
	if sum := floats.Dot(x, x); !math.IsNaN(sum) && !math.IsInf(sum, 0) {
		return nil
	}
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%w: sample %d is %v", ErrInput, i, v)
		}
	}
	return nil
}
