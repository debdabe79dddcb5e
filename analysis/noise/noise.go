// Package noise answers: how quiet is the channel, and what is the hum?
//
// The noise floor is the RMS level from 20 Hz to 20 kHz (or as far as the
// rate reaches), unweighted and A-weighted (IEC 61672-1:2013), from a Welch
// spectrum; one-third-octave bands are those of IEC 61260-1:2014, base ten.
// Segments in which something was touched, 6 dB and more above the median
// segment, are left out and their share is told.
//
// Hum is the set of lines at multiples of a mains frequency that is found
// within 1 % of 50 or 60 Hz, not assumed. A line counts when it stands out of
// the local floor by more than chance allows once in 100,000 tries; its level
// is the power of its whole main lobe less the floor's share, so that it does
// not depend on where the line falls between two bins.
//
// Levels are dBFS by AES17: a full-scale sine has 0.
package noise

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// Options say what is known beforehand.
type Options struct {
	MainsHz float64 // 50 or 60; 0: find out
}

// Noise is what a take of silence tells.
type Noise struct {
	FloorDBFS      stats.Estimate // interval: Student's t over half-second blocks' power
	FloorADBFS     stats.Estimate
	WithoutHumDBFS float64
	UpperHz        float64 // of the floor's band
	ExcludedShare  float64 // of the segments
	ThirdOctaves   []Level
	PSD            []Density // thinned for drawing, at most 700 points
	Hum            *Hum      // nil: no line stands out
	Others         []Line    // lines that belong to no mains, at most five, strongest first
}

// Level is one band's level.
type Level struct {
	Band      signal.Band
	LevelDBFS float64
}

// Density is one point of the spectrum.
type Density struct {
	Hz        float64
	DBFSPerHz float64
}

// Hum is what the mains puts in.
type Hum struct {
	MainsHz   float64 // as found
	NominalHz int     // 50 or 60
	Certain   bool    // the lines fit one nominal frequency and not the other
	Lines     []Line
	TotalDBFS float64
	OddDBFS   float64 // signal.SilenceDB: none
	EvenDBFS  float64
}

// Line is one spectral line.
type Line struct {
	Order        int // harmonic of the mains; 0: none
	Hz           float64
	LevelDBFS    float64
	AboveFloorDB float64 // its peak above the local floor, as seen through the window
}

// ErrTooShort means that the take holds less than a second.
var ErrTooShort = errors.New("less than a second of silence")

const (
	lowestHz    = 20
	highestHz   = 20000
	shortestS   = 1.0
	touchedDB   = 6.0
	segmentS    = 0.34 // for the floor
	lineWindowS = 2.8  // for lines; shorter in short takes
)

// Measure reads the take once for the floor and once for its lines, block by
// block.
func Measure(ctx context.Context, src signal.Source, o Options) (Noise, error) {
	rate, n := src.Rate(), src.Len()
	if float64(n) < shortestS*rate {
		return Noise{}, fmt.Errorf("%w: %.2f s", ErrTooShort, float64(n)/rate)
	}
	upper := math.Min(highestHz, 0.49*rate)
	f, err := measureFloor(ctx, src, upper)
	if err != nil {
		return Noise{}, err
	}
	fine, err := spectrumOf(ctx, src, signal.BlackmanHarris(segmentLength(n, rate, lineWindowS, 2)), f.quiet)
	if err != nil {
		return Noise{}, err
	}
	out := Noise{FloorDBFS: f.unweighted(), FloorADBFS: f.weighted(), UpperHz: upper, ExcludedShare: f.excluded, PSD: thinned(fine, upper)}
	for _, b := range signal.FractionalOctaves(3, 20, math.Min(upper, 20000)) {
		out.ThirdOctaves = append(out.ThirdOctaves, Level{b, signal.PowerToDBFS(fine.Band(b.LowHz, b.HighHz))})
	}
	found := findLines(fine, upper)
	out.Hum, out.Others = humOf(found, o.MainsHz)
	rest := signal.DBFSToPower(out.FloorDBFS.Median)
	if out.Hum != nil {
		rest -= signal.DBFSToPower(out.Hum.TotalDBFS)
	}
	out.WithoutHumDBFS = signal.PowerToDBFS(math.Max(rest, 1e-3*signal.DBFSToPower(out.FloorDBFS.Median)))
	return out, nil
}

// segmentLength is the power of two nearest below wantS, short enough for
// count segments.
func segmentLength(n int64, rate, wantS float64, count int64) int {
	limit := math.Min(wantS*rate, float64(n/count))
	return 1 << int(math.Floor(math.Log2(limit)))
}

// floor is the band power of every segment.
type floor struct {
	plain, aWeighted []float64 // mean squares of quiet segments
	quiet            func(fromS, toS float64) bool
	excluded         float64
	segmentS         float64
}

func measureFloor(ctx context.Context, src signal.Source, upper float64) (*floor, error) {
	rate := src.Rate()
	n := segmentLength(src.Len(), rate, segmentS, 4)
	step := rate / float64(n)
	weights := make([]float64, n/2+1)
	for k := range weights {
		weights[k] = math.Pow(10, signal.AWeightingDB(math.Max(float64(k)*step, 1))/10)
	}
	var plain, weighted []float64
	w := signal.NewWelch(rate, signal.Hann(n), func(_ int, density []float64) bool {
		p := signal.PSD{StepHz: step, Power: density}
		plain = append(plain, p.Band(lowestHz, upper))
		for k := range density {
			density[k] *= weights[k]
		}
		weighted = append(weighted, p.Band(lowestHz, upper))
		return true
	})
	if err := stream(ctx, src, w.Add); err != nil {
		return nil, err
	}
	if len(plain) == 0 {
		return nil, ErrTooShort
	}
	return newFloor(plain, weighted, float64(n)/rate), nil
}

// newFloor leaves out the segments in which something was touched.
func newFloor(plain, weighted []float64, lengthS float64) *floor {
	f := &floor{segmentS: lengthS}
	limit := stats.Median(plain) * math.Pow(10, touchedDB/10)
	touched := make([]bool, len(plain))
	for i := range plain {
		if touched[i] = plain[i] > limit; touched[i] {
			f.excluded += 1 / float64(len(plain))
			continue
		}
		f.plain, f.aWeighted = append(f.plain, plain[i]), append(f.aWeighted, weighted[i])
	}
	f.quiet = func(fromS, toS float64) bool {
		first := max(0, int(2*fromS/lengthS)-1)
		for i := first; i < len(touched) && float64(i)*lengthS/2 < toS; i++ {
			if touched[i] {
				return false
			}
		}
		return true
	}
	return f
}

func (f *floor) unweighted() stats.Estimate { return f.estimate(f.plain) }
func (f *floor) weighted() stats.Estimate   { return f.estimate(f.aWeighted) }

// estimate is the level of the mean power; segments overlap by half, so three
// are joined to one block.
func (f *floor) estimate(powers []float64) stats.Estimate {
	total := 0.0
	for _, p := range powers {
		total += p / float64(len(powers))
	}
	var blocks []float64
	for i := 0; i+3 <= len(powers); i += 3 {
		blocks = append(blocks, (powers[i]+powers[i+1]+powers[i+2])/3)
	}
	est := stats.Estimate{Median: signal.PowerToDBFS(total), N: max(1, len(blocks))}
	if len(blocks) >= 3 && total > 0 {
		est.Interval = powerInterval(blocks, total)
	}
	return est
}

// powerInterval is Student's t interval of the blocks' mean power, in dBFS.
func powerInterval(blocks []float64, mean float64) *stats.Interval {
	n, squares := float64(len(blocks)), 0.0
	for _, b := range blocks {
		squares += (b - mean) * (b - mean)
	}
	half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(0.975) * math.Sqrt(squares/(n-1)/n)
	low := math.Max(mean-half, mean*1e-3)
	return &stats.Interval{Low: signal.PowerToDBFS(low), High: signal.PowerToDBFS(mean + half), Coverage: 0.95}
}

// spectrumOf averages the untouched segments; all of them where none is.
func spectrumOf(ctx context.Context, src signal.Source, win signal.Window, quiet func(fromS, toS float64) bool) (signal.PSD, error) {
	lengthS := float64(len(win.Coefficients)) / src.Rate()
	seen := 0
	w := signal.NewWelch(src.Rate(), win, func(int, []float64) bool {
		from := float64(seen) * lengthS / 2
		seen++
		return quiet(from, from+lengthS)
	})
	if err := stream(ctx, src, w.Add); err != nil {
		return signal.PSD{}, err
	}
	if p, err := w.PSD(); err == nil {
		return p, nil
	}
	w = signal.NewWelch(src.Rate(), win, nil)
	if err := stream(ctx, src, w.Add); err != nil {
		return signal.PSD{}, err
	}
	return w.PSD()
}

func stream(ctx context.Context, src signal.Source, add func([]float64)) error {
	block := make([]float64, 1<<14)
	for at := int64(0); at < src.Len(); at += int64(len(block)) {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := src.ReadAt(block, at)
		if err != nil && err != io.EOF {
			return fmt.Errorf("read silence: %w", err)
		}
		add(block[:n])
	}
	return nil
}

// thinned keeps the loudest bin of each step of 1 %, so that lines survive.
func thinned(p signal.PSD, upper float64) []Density {
	var out []Density
	for hz := 10.0; hz < upper; {
		next := math.Max(hz*1.011, hz+p.StepHz)
		best := 0.0
		at := hz
		for k := int(math.Ceil(hz / p.StepHz)); k < len(p.Power) && p.Hz(k) < next; k++ {
			if p.Power[k] > best {
				best, at = p.Power[k], p.Hz(k)
			}
		}
		if best > 0 {
			out = append(out, Density{math.Round(at*100) / 100, math.Round(signal.PowerToDBFS(best)*100) / 100})
		}
		hz = next
	}
	return out
}
