// Package event finds the taps and plucks in a take and measures each: when it
// began, how loud it was, which way it moved first, whether it was one contact
// or two, and whether it came straight into its disc or through the bridge.
//
// Definitions.
//
//   - Onset: the first motion of the contact that carries the event. A finger
//     that settles on the saddle before it taps, or scrapes along the string
//     before it lets go, is not the onset.
//   - Tap level: RMS over the 50 ms from onset. Pluck level: RMS over the
//     500 ms from 20 ms after onset. Baseline and hum are taken away first and
//     noise power is subtracted. dBFS as in AES17: a full-scale sine reads 0.
//   - Double hit: a second contact within 150 ms. People cannot tap on purpose
//     that fast; a ball or a loose finger bounces that fast.
//   - Polarity: the sign of the first motion, judged before the input's
//     high-pass makes it droop and overshoot.
//
// Onsets are found as sudden rises of short-time energy in three bands above
// the largest energy of the 60 ms before (so that hum, noise, ringing strings
// and the pulse train of a low string set their own threshold), and placed by
// fitting the rise a(t-t0)^p to the samples. The background, that is baseline,
// hum lines and ringing partials, is fitted to the samples before the onset by
// least squares and predicted across it. The limits that separate contact from
// touch, bounce and handling noise are common practice, no source.
package event

import (
	"context"
	"fmt"
	"math"

	"saddlewise/analysis/signal"
)

// Kind is what the take records.
type Kind int

// The kinds of event.
const (
	Tap   Kind = iota // a contact of a few milliseconds on the saddle
	Pluck             // a string pulled aside and let go
)

// String is the kind's name.
func (k Kind) String() string {
	switch k {
	case Tap:
		return "tap"
	case Pluck:
		return "pluck"
	}
	return fmt.Sprintf("kind %d", int(k))
}

// SilenceDBFS stands for the level of digital silence, whose level in dB would
// be minus infinity.
const SilenceDBFS = -200.0

// Event is one tap or pluck. Positions are sample indices into the source.
type Event struct {
	Onset          int64   // first motion
	OnsetSDSamples float64 // standard uncertainty of Onset, samples
	End            int64   // where it sinks into the noise, or Limit
	Limit          int64   // first sample that may belong to something else: just before the next event, or the take's end

	Prior int64 // first sample before the onset that is clear of the event before

	DoubleHit      bool    // a second contact followed
	SecondContactS float64 // seconds from onset to the second contact; 0 when there is none

	TruncatedStart bool // the take begins too late to show what came before
	TruncatedEnd   bool // the take ends before the event does

	background *background // up to the onset; nil where Find had too little to fit it to, or did not make the Event
}

// Found is what a take holds.
type Found struct {
	Events     []Event
	NoisePower float64 // mean square of the background between events, without DC; full scale 1
	NoiseDBFS  float64 // the same as AES17 dBFS; SilenceDBFS for digital silence
	Faint      int     // contacts left out because they were far weaker than the take's others
}

// Find lists the events of a take in order. It reads src once from end to end
// and then a fraction of a second around each event; time is linear in the
// take's length and what it keeps is one number for each 25 ms.
func Find(ctx context.Context, src signal.Source, kind Kind) (Found, error) {
	if kind != Tap && kind != Pluck {
		return Found{}, fmt.Errorf("find events: unknown %v", kind)
	}
	if rate := src.Rate(); !(rate >= 4000 && rate <= 1e6) {
		return Found{}, fmt.Errorf("find %ss: sample rate %g Hz is not within 4 kHz to 1 MHz", kind, rate)
	}
	work := borrowed()
	defer work.giveBack()
	scan, err := scanTake(ctx, work, src, kind)
	if err != nil {
		return Found{}, fmt.Errorf("find %ss: %w", kind, err)
	}
	found := Found{NoisePower: scan.noisePower(), NoiseDBFS: dbfs(scan.noisePower())}
	picks, faint := choose(scan, kind)
	found.Faint = faint
	found.Events, err = place(ctx, work, src, kind, scan, picks)
	if err != nil {
		return Found{}, fmt.Errorf("find %ss: %w", kind, err)
	}
	return found, nil
}

// dbfs is the AES17 level of a mean square: a full-scale sine, mean square
// 1/2, reads 0.
func dbfs(power float64) float64 {
	if !(power > 0) {
		return SilenceDBFS
	}
	return max(SilenceDBFS, 10*math.Log10(2*power))
}
