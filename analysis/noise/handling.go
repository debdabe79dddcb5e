package noise

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// How handling is told from noise (own choice, checked by the false-alarm
// test): a block stands out of the others in body, in treble or in its
// steepest step. Noise has light tails in dB, so seven deviations are safe.
// The steepest step of noise around the last bit is one, two or three of it,
// 10 dB apart.
const (
	blockS        = 0.025
	blocksRead    = 16  // at once
	startOver     = 7.0 // robust standard deviations
	startOverDB   = 4.0
	stepOverDB    = 11.0
	goOnOver      = 3.0
	goOnOverDB    = 1.5
	blocksBefore  = 1
	blocksAfter   = 2
	normalFromMAD = 1.4826
)

// handling says in which blocks of a recording something was touched.
type handling struct {
	length  int64 // samples of a block
	touched []bool
	mean    float64
}

// blockLevels are three views of the loudness of each block, in dB.
type blockLevels [3][]float64

func findHandling(ctx context.Context, src signal.Source) (handling, error) {
	h := handling{length: max(1, int64(math.Round(blockS*src.Rate())))}
	var levels blockLevels
	buf := make([]float64, blocksRead*h.length)
	whole := src.Len() / h.length * h.length
	sum, last := 0.0, math.NaN()
	for at := int64(0); at < whole; at += int64(len(buf)) {
		if err := ctx.Err(); err != nil {
			return h, err
		}
		x := buf[:min(int64(len(buf)), whole-at)]
		if n, err := src.ReadAt(x, at); n < len(x) {
			return h, fmt.Errorf("read samples from %d: %w", at, cause(err))
		}
		for i := int64(0); i < int64(len(x)); i += h.length {
			body, treble, step, total := describe(x[i:i+h.length], last)
			if math.IsNaN(total) || math.IsInf(total, 0) {
				return h, fmt.Errorf("a sample from %d to %d is not a number", at+i, at+i+h.length)
			}
			sum, last = sum+total, x[i+h.length-1]
			for view, v := range []float64{body, treble, step} {
				levels[view] = append(levels[view], signal.PowerToDB(v))
			}
		}
	}
	h.mean = sum / float64(whole)
	h.touched = levels.outstanding()
	return h, nil
}

func cause(err error) error {
	if err == nil || err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// describe gives a block's mean square about its mean, that of its steps from
// sample to sample, the largest step squared, and the sum.
func describe(x []float64, last float64) (body, treble, step, sum float64) {
	if math.IsNaN(last) {
		last = x[0]
	}
	for _, v := range x {
		square := (v - last) * (v - last)
		sum, treble = sum+v, treble+square
		if square > step {
			step = square
		}
		last = v
	}
	return signal.MeanSquare(x), treble / float64(len(x)), step, sum
}

func (b blockLevels) outstanding() []bool {
	touched := make([]bool, len(b[0]))
	for view, levels := range b {
		least := startOverDB
		if view == len(b)-1 {
			least = stepOverDB
		}
		start, goOn := thresholds(levels, least)
		for i := 0; i < len(levels); i++ {
			if levels[i] <= start {
				continue
			}
			end := i
			for end+1 < len(levels) && levels[end+1] > goOn {
				end++
			}
			for j := max(0, i-blocksBefore); j <= min(end+blocksAfter, len(touched)-1); j++ {
				touched[j] = true
			}
			i = end
		}
	}
	return touched
}

// thresholds are the levels that a block must pass to count as touched, and
// that the blocks after it must pass to count as the same touch. Blocks of
// digital silence have no say.
func thresholds(levels []float64, leastDB float64) (start, goOn float64) {
	heard := slices.DeleteFunc(slices.Clone(levels), func(v float64) bool { return v <= signal.SilenceDB })
	if len(heard) == 0 {
		return 0, 0
	}
	middle := stats.Median(heard)
	off := make([]float64, len(heard))
	for i, v := range heard {
		off[i] = math.Abs(v - middle)
	}
	slices.Sort(off)
	spread := normalFromMAD * stats.Median(off)
	return middle + math.Max(leastDB, startOver*spread), middle + math.Max(goOnOverDB, goOnOver*spread)
}

func (h handling) share() float64 {
	n := 0
	for _, t := range h.touched {
		if t {
			n++
		}
	}
	return float64(n) / float64(len(h.touched))
}

// run is a stretch of samples, from first up to but not including end.
type run struct{ first, end int64 }

// clean lists the untouched stretches of a recording of n samples.
func (h handling) clean(n int64) []run {
	var runs []run
	open := int64(-1)
	for i, t := range h.touched {
		at := int64(i) * h.length
		switch {
		case t && open >= 0:
			runs = append(runs, run{open, at})
			open = -1
		case !t && open < 0:
			open = at
		}
	}
	if open >= 0 {
		runs = append(runs, run{open, n})
	}
	return runs
}
