// Package tone answers one question: is the reference tone what it should be,
// how loud is it, and how clean?
//
// A tuning fork's stem is set on a saddle, or a steady tone is driven into it.
// Each strike of the fork, or each steady stretch, is one [Strike]. Its
// frequency, level and decay come from a least-squares fit of one damped sine
// (for a steady tone the sine fit of IEEE Std 1057, decay left free). The fit
// of a damped tone in white noise reaches the Cramer-Rao bound (Rife &
// Boorstyn 1974; Yao & Pandit 1995 for the damped one).
//
// Distortion is read from the Hann-weighted spectrum of the strike, the mean of
// two windows where one would leave a third of it or more out. A window falls to zero at both
// ends, so that a decay does not smear into the harmonics. Two conventions are
// in use, so to be plain: THD here is the harmonics 2 to 10 relative to the
// fundamental (THD_F, IEC 61000-2-2); THD+N is all but the fundamental, 20 Hz
// to 20 kHz, relative to the total (AES17). A fork's clang mode, near 6.27
// times the fundamental (clamped-free bar, Rayleigh, The Theory of Sound,
// chapter VIII), is left out of both.
//
// Levels are in dBFS of AES17: a full-scale sine is 0.
package tone

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// ErrNoTone says that the take holds no tone; the error's text says why.
var ErrNoTone = errors.New("no tone")

// Options say what is known beforehand.
type Options struct {
	NominalHz float64 // what the tone should be; 0: unknown
	MainsHz   float64 // 50 or 60, or as measured; 0: unknown
}

// Strike is one ringing of the fork, or one steady stretch of a driven tone.
type Strike struct {
	FromS, ToS float64 // what was measured, seconds from the start of the take
	Hz         float64
	SDHz       float64 // standard error
	LevelDBFS  float64 // RMS of the fundamental over the first second from FromS
	T60Seconds float64 // 0: steady, no decay seen
	T60SD      float64 // standard error, seconds
	THDDB      float64 // re the fundamental
	THDPercent float64
	THDMasked  bool    // noise or mains lines hide what matters: THD is an upper bound
	THDNDB     float64 // re the total
	SNRDB      float64 // fundamental re the noise of 20 Hz to 20 kHz
	Harmonics  []Harmonic
	ClangHz    float64 // 0: not heard
	ClangRelDB float64 // re the fundamental, in the first third of a second
}

// Harmonic is one multiple of the fundamental.
type Harmonic struct {
	Order     int
	Hz        float64
	LevelDBFS float64
	RelDB     float64 // re the fundamental
	Masked    bool    // within 10 dB of the noise, or on a mains line: an upper bound
}

// Tone is what a take says of the reference tone.
type Tone struct {
	Strikes       []Strike
	Hz            float64 // weighted mean of the strikes
	HzLow, HzHigh float64 // 95 % interval
	OffsetPPM     float64 // from nominal; 0 when that is unknown
	OffsetCents   float64
	Steady        bool // driven: no decay seen in any stretch
	Notes         []string
}

// Measure finds the tone in src and measures every strike of it. It reads
// the take twice block by block, and holds at most one strike.
func Measure(ctx context.Context, src signal.Source, o Options) (Tone, error) {
	if rate := src.Rate(); !(rate > 0) || o.NominalHz < 0 || o.NominalHz >= rate/2 {
		return Tone{}, fmt.Errorf("tone: nominal %v Hz with %v samples a second", o.NominalHz, rate)
	}
	hz, err := find(ctx, src, o)
	if err != nil {
		return Tone{}, err
	}
	spans, err := stretches(ctx, src, hz)
	if err != nil {
		return Tone{}, err
	}
	var t Tone
	var ringing []float64 // from the blow on
	for _, s := range spans {
		if err := ctx.Err(); err != nil {
			return Tone{}, err
		}
		ringing = slices.Grow(ringing[:0], int(s.to-s.blow))[:s.to-s.blow]
		if n, err := src.ReadAt(ringing, s.blow); n < len(ringing) {
			return Tone{}, fmt.Errorf("read a strike at sample %d: %w", s.blow, err)
		}
		// A constant offset would fold down to a multiple of the baseband's rate.
		floats.AddConst(-signal.Sum(ringing)/float64(len(ringing)), ringing)
		if strike, ok := measureStrike(ringing, src.Rate(), s, hz, o); ok {
			t.Strikes = append(t.Strikes, strike)
		}
	}
	if len(t.Strikes) == 0 {
		return Tone{}, fmt.Errorf("%w: what sounds at %.1f Hz is drowned in noise", ErrNoTone, hz)
	}
	t.conclude(o)
	return t, nil
}

// conclude joins the strikes.
func (t *Tone) conclude(o Options) {
	sum, weight := 0.0, 0.0
	t.Steady = true
	for _, s := range t.Strikes {
		w := 1 / (s.SDHz*s.SDHz + 1e-18)
		sum += w * s.Hz
		weight += w
		t.Steady = t.Steady && s.T60Seconds == 0
	}
	t.Hz = sum / weight
	sd := math.Sqrt(1 / weight)
	// Strikes that disagree by more than their errors widen the interval.
	chi := 0.0
	for _, s := range t.Strikes {
		chi += (s.Hz - t.Hz) * (s.Hz - t.Hz) / (s.SDHz*s.SDHz + 1e-18)
	}
	if n := float64(len(t.Strikes) - 1); n > 0 && chi > n {
		sd *= math.Sqrt(chi / n)
	}
	t.HzLow, t.HzHigh = t.Hz-1.96*sd, t.Hz+1.96*sd
	if o.NominalHz > 0 {
		t.OffsetPPM = 1e6 * (t.Hz/o.NominalHz - 1)
		t.OffsetCents = 1200 * math.Log2(t.Hz/o.NominalHz)
	}
	t.note(o)
}

func (t *Tone) note(o Options) {
	if math.Abs(t.OffsetCents) > 50 && o.NominalHz > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("the tone is %.0f cents from %.2f Hz: another tone, or a wrong sample rate", t.OffsetCents, o.NominalHz))
	}
	for i, s := range t.Strikes {
		if s.THDMasked {
			t.Notes = append(t.Notes, fmt.Sprintf("strike %d: noise or hum hides harmonics, distortion is below %.0f dB", i+1, s.THDDB))
		}
	}
}
