// Package noise measures how quiet a channel is, and what hums in it.
//
// The floor is the RMS level from 20 Hz to 20 kHz (or to half the sample
// rate), unweighted and A-weighted (IEC 61672-1), in dBFS by the AES17
// convention: a full-scale sine has 0 dBFS. It is the integral of a Welch
// power spectral density: Hann segments that overlap by two thirds, so
// that all samples but those at the very ends weigh the same (Welch, IEEE
// Trans. Audio Electroacoustics 15, 70-73, 1967; Harris, Proc. IEEE 66, 51-83,
// 1978). Stretches in which something was touched are left out, and their
// share is told.
//
// Hum is a set of lines at multiples of one frequency within 1 % of 50 or
// 60 Hz. The mains frequency is found, not assumed, and then read from the
// clearest lines over the take. The level of a line is the
// power in its main lobe less the floor beneath it, which reads right between
// bins and for mains that wander a little. Where the lines fit both 50 and
// 60 Hz, or stand at high multiples only, they are reported as lines of
// unknown origin.
//
// An interval says where the floor of a longer recording would lie. It is
// made of eight equal parts of the recording, so that drift widens it.
package noise

import (
	"context"
	"errors"
	"fmt"
	"math"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// Band edges of the floor, in Hz.
const (
	LowerHz = 20.0
	topHz   = 20000.0
)

// HumSeconds of undisturbed sound show hum whenever one of its lines up to the
// 20th rises 6 dB out of the noise beside it in the spectrum that Measure
// makes, [Noise.ResolutionHz] wide. In less sound there are too few segments to tell such
// a line from chance every time; what is found there is found as surely.
const HumSeconds = 2.0

// ErrTooShort is a recording too short for a noise floor.
var ErrTooShort = errors.New("too short for a noise floor")

// ErrNotQuiet is a recording in which no second is free of handling.
var ErrNotQuiet = errors.New("something was touched throughout")

// Options say what is known beforehand.
type Options struct {
	MainsHz float64 // 50 or 60: look for no other; 0: find out
}

// Noise is what a recording of silence holds. In each Estimate, Median holds
// the level of the mean power and N the number of parts behind the interval.
type Noise struct {
	FloorDBFS  stats.Estimate // LowerHz to UpperHz
	FloorADBFS stats.Estimate // the same, A-weighted
	UpperHz    float64        // 20 kHz, or half the sample rate

	// The floor with the hum's lines cut down to the noise beneath, and its
	// intervals (nil: too short).
	WithoutHumDBFS, WithoutHumADBFS         float64
	WithoutHumInterval, WithoutHumAInterval *stats.Interval

	ThirdOctaves []Level   // IEC 61260-1 base ten; bands narrower than the resolution are left out
	PSD          []Density // thinned to even steps of log frequency, line peaks kept
	ResolutionHz float64   // equivalent noise bandwidth of the spectrum

	Hum    *Hum   // nil: no hum stands out, or HumUntold
	Others []Line // lines that belong to no mains, clearest first, at most five

	HumUntold     bool    // no hum was found, but less than HumSeconds are no proof of none
	ExcludedShare float64 // share of the recording left out because something was touched
	DCFS          float64 // mean, full scale 1
}

// Level is one band's level.
type Level struct {
	Band      signal.Band
	LevelDBFS float64
}

// Density is one point of a power spectral density.
type Density struct {
	Hz, DBFSPerHz float64
}

// Hum is what the mains puts in.
type Hum struct {
	MainsHz   float64 // as found
	SDHz      float64 // standard error of MainsHz
	NominalHz int     // 50 or 60
	Certain   bool    // a line stands 6 dB out of the floor
	Lines     []Line  // by order
	TotalDBFS float64 // all lines
	OddDBFS   float64 // lines of odd order; signal.SilenceDB: none
	EvenDBFS  float64 // lines of even order; signal.SilenceDB: none
}

// Line is one spectral line.
type Line struct {
	Order        int     // multiple of the mains frequency; 0: of no known origin
	Hz           float64 // as found
	LevelDBFS    float64 // AES17: a full-scale sine is 0
	PlusMinusDB  float64 // standard error of the level
	AboveFloorDB float64 // peak of the spectrum over the noise beside it, at ResolutionHz
}

// Measure reads src twice, block by block, and measures its noise; where there
// is hum it reads up to four pieces of less than 4 s again. Memory is bounded
// whatever the length. It wants a second of undisturbed sound, or
// half of one with a wide interval; below that the error is ErrTooShort or
// ErrNotQuiet.
func Measure(ctx context.Context, src signal.Source, o Options) (Noise, error) {
	rate := src.Rate()
	if float64(src.Len()) < shortestS*rate {
		return Noise{}, fmt.Errorf("%.2f s: %w", float64(src.Len())/rate, ErrTooShort)
	}
	handled, err := findHandling(ctx, src)
	if err != nil {
		return Noise{}, fmt.Errorf("noise floor: %w", err)
	}
	sp, err := average(ctx, src, handled.clean(src.Len()), handled.mean)
	if err != nil {
		return Noise{}, fmt.Errorf("noise floor: %w", err)
	}
	n := Noise{
		UpperHz: math.Min(topHz, rate/2), ExcludedShare: handled.share(), DCFS: handled.mean,
		ResolutionHz: hannBandwidthBins * sp.stepHz,
	}
	floor := newFloor(sp)
	n.Hum, n.Others = sortLines(sp, floor, o, n.UpperHz)
	if n.Hum != nil {
		if err := n.Hum.refine(ctx, src, handled.clean(src.Len()), sp, floor); err != nil {
			return Noise{}, fmt.Errorf("mains frequency: %w", err)
		}
	}
	n.HumUntold = n.Hum == nil && sp.seconds < HumSeconds
	n.levels(sp, floor)
	n.ThirdOctaves = thirdOctaves(sp.psd(), n.UpperHz)
	n.PSD = thin(sp.psd(), n)
	return n, nil
}

// levels integrates the spectra of all parts, with the hum and without.
func (n *Noise) levels(sp *spectrum, floor *floorCurve) {
	flat, weighted := sp.weights(n.UpperHz, nil), sp.weights(n.UpperHz, signal.AWeightingDB)
	n.FloorDBFS, n.FloorADBFS = sp.level(flat, nil), sp.level(weighted, nil)
	cut := n.Hum.cut(sp, floor)
	rest, restA := sp.level(flat, cut), sp.level(weighted, cut)
	n.WithoutHumDBFS, n.WithoutHumInterval = rest.Median, rest.Interval
	n.WithoutHumADBFS, n.WithoutHumAInterval = restA.Median, restA.Interval
}
