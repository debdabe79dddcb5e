package tone

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// How the tone is followed through a take; common practice, no source.
const (
	blockSeconds = 0.01
	blocksRead   = 32   // at once
	contrastDB   = 9.0  // over the bands beside it
	riseDB       = 4.0  // within riseBlocks: a new strike
	riseBlocks   = 6    //
	settleS      = 0.12 // after a strike, for the knock to die away
	leaveS       = 0.06 // before the next strike or the end
	leastS       = 0.3
	mostS        = 8.0
	knockDB      = 30.0 // tone below the loudest moment: what rings after a knock
	belowPeakDB  = 50.0
)

// span is one stretch of tone, in samples, with the blow it follows.
type span struct {
	blow, from, to int64
	struck         bool
}

// track is the level of the tone and of its surroundings, block by block.
type track struct {
	tone, beside, total []float64 // powers
	block               int64     // samples
	rate                float64
}

// follow shifts the take by hz and by a frequency on either side of it.
func follow(ctx context.Context, src signal.Source, hz float64) (track, error) {
	rate := src.Rate()
	t := track{block: max(1, int64(math.Round(blockSeconds*rate))), rate: rate}
	side := max(0.12*hz, 60)
	waves := [3]*wave{newWave(hz/rate, t.block), newWave((hz-side)/rate, t.block), newWave((hz+side)/rate, t.block)}
	var z [3][]complex128
	buf := make([]float64, blocksRead*t.block)
	for at := int64(0); at+t.block <= src.Len(); at += int64(len(buf)) {
		if err := ctx.Err(); err != nil {
			return t, err
		}
		n, err := src.ReadAt(buf, at)
		if err != nil && err != io.EOF {
			return t, err
		}
		for x := buf[:n]; int64(len(x)) >= t.block; x = x[t.block:] {
			block := x[:t.block]
			t.total = append(t.total, 2*floats.Dot(block, block)/float64(t.block))
			for b, w := range waves {
				z[b] = append(z[b], w.phasor(block))
			}
		}
	}
	t.tone = powers(z[0])
	lo, hi := powers(z[1]), powers(z[2])
	t.beside = make([]float64, len(lo))
	for k := range lo {
		t.beside[k] = (lo[k] + hi[k]) / 2
	}
	return t, nil
}

// wave is a frequency over one block, and the phase at which the next begins.
type wave struct {
	cos, sin         []float64
	turns, turnsEach float64
}

func newWave(turnsEach float64, block int64) *wave {
	w := &wave{cos: make([]float64, block), sin: make([]float64, block), turnsEach: turnsEach * float64(block)}
	for i := range w.cos {
		w.sin[i], w.cos[i] = math.Sincos(2 * math.Pi * turnsEach * float64(i))
	}
	floats.AddConst(-signal.Sum(w.cos)/float64(block), w.cos) // deaf to a constant offset
	floats.AddConst(-signal.Sum(w.sin)/float64(block), w.sin)
	return w
}

// phasor is the amplitude and phase of the wave in the next block.
func (w *wave) phasor(block []float64) complex128 {
	s, c := math.Sincos(-2 * math.Pi * w.turns)
	w.turns += w.turnsEach
	w.turns -= math.Floor(w.turns)
	scale := 2 / float64(len(block))
	return complex(scale*floats.Dot(block, w.cos), -scale*floats.Dot(block, w.sin)) * complex(c, s)
}

// powers smooths the phasors of neighbouring blocks by a Hann window of nine.
func powers(z []complex128) []float64 {
	weights := signal.Hann(10).Coefficients[1:]
	out := make([]float64, len(z))
	for k := range z {
		var s complex128
		sum := 0.0
		for j, w := range weights {
			if i := k + j - len(weights)/2; i >= 0 && i < len(z) {
				s += complex(w, 0) * z[i]
				sum += w
			}
		}
		s /= complex(sum, 0)
		out[k] = real(s)*real(s) + imag(s)*imag(s)
	}
	return out
}

// stretches finds where the tone sounds.
func stretches(ctx context.Context, src signal.Source, hz float64) ([]span, error) {
	t, err := follow(ctx, src, hz)
	if err != nil {
		return nil, err
	}
	if len(t.tone) == 0 {
		return nil, fmt.Errorf("%w: the take is too short", ErrNoTone)
	}
	spans := t.spans()
	if len(spans) == 0 {
		return nil, fmt.Errorf("%w: nothing at %.1f Hz lasts %.1f s", ErrNoTone, hz, leastS)
	}
	loudest, knock := 0.0, slices.Max(t.total)
	for _, s := range spans {
		loudest = max(loudest, t.tone[s.from/t.block])
	}
	if loudest < math.Pow(10, -knockDB/10)*knock {
		return nil, fmt.Errorf("%w: what rings at %.1f Hz is %.0f dB below the knocks", ErrNoTone, hz, 10*math.Log10(knock/loudest))
	}
	return spans, nil
}

// spans cuts the track at strikes and where the tone no longer stands out.
func (t track) spans() []span {
	floor := math.Pow(10, -belowPeakDB/10) * slices.Max(t.tone)
	sounds := func(k int) bool {
		return t.tone[k] > floor && t.tone[k] > math.Pow(10, contrastDB/10)*t.beside[k]
	}
	var out []span
	start := -1
	for k := 0; k <= len(t.tone); k++ {
		on := k < len(t.tone) && (sounds(k) || (start >= 0 && t.tone[k] > floor && k+3 < len(t.tone) && sounds(k+3)))
		again := on && start >= 0 && k-start > 2*riseBlocks && t.rises(k)
		if start >= 0 && (!on || again) {
			out = t.add(out, start, k)
			start = -1
		}
		if on && start < 0 {
			start = k
		}
	}
	return out
}

func (t track) rises(k int) bool {
	return k >= riseBlocks && t.tone[k] > math.Pow(10, riseDB/10)*t.tone[k-riseBlocks]
}

// add appends the blocks start..end-1 where enough is left of them. The span
// begins at the level's maximum in its first half second, once settled.
func (t track) add(out []span, start, end int) []span {
	top := start
	for k := start; k < min(end, start+50); k++ {
		if t.tone[k] > 1.05*t.tone[top] {
			top = k
		}
	}
	s := span{blow: int64(start) * t.block, struck: top > start || start > 0}
	s.from = int64(top)*t.block + int64(settleS*t.rate)
	s.to = min(int64(end)*t.block-int64(leaveS*t.rate), s.from+int64(mostS*t.rate))
	if float64(s.to-s.from) < leastS*t.rate {
		return out
	}
	return append(out, s)
}
