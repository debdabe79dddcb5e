package recording

import "math"

// Limits for digital silence: common practice, no source.
const (
	leastZeroS  = 0.010 // shorter stretches of zeros are drop-outs or chance
	leastDrop   = 16    // samples
	activeSteps = 4     // mean difference in quantisation steps of a live signal
	maxPlaces   = 16    // places kept
	lookBack    = 32    // samples
)

// zeroRuns counts stretches of exact zeros: long ones as digital silence, a
// gate's or a drop-out's, short ones amid a live signal as drop-outs.
//
// Zeros come by themselves where a signal sinks under the last bit. Then the
// samples before them move by a step or less; a gate or a drop-out cuts off
// samples that move by several.
type zeroRuns struct {
	least                      int64
	run, total, longest, first int64
	start                      int64
	runs, abrupt               int
	steps                      float64 // mean movement before the run
	edge                       float64 // the last sample before it, in steps

	drops   int
	dropped []int64
	waiting int // samples still to be seen before a short run is a drop-out
	moved   float64
	pending int64
}

func newZeroRuns(rateHz float64) zeroRuns {
	return zeroRuns{least: max(leastDrop+1, int64(leastZeroS*rateHz)), pending: -1}
}

// tile looks at every sixteenth sample first: a run that matters covers one.
func (z *zeroRuns) tile(x []float64, past *[tileFrames]float64, n int64, quantum float64) {
	if z.run == 0 && z.pending < 0 && !touchesZero(x) {
		return
	}
	for i, v := range x {
		if v != 0 {
			z.live(v, x, i, quantum)
			continue
		}
		if z.run == 0 {
			z.start = n + int64(i)
			z.steps = movement(x[:i], past, z.start) / math.Max(quantum, 1e-12)
			z.edge = math.Abs(lastOf(x[:i], past)) / math.Max(quantum, 1e-12)
		}
		z.run++
	}
}

// live takes a sample that is not zero.
func (z *zeroRuns) live(v float64, x []float64, i int, quantum float64) {
	if z.run > 0 {
		z.end()
		return
	}
	if z.pending < 0 {
		return
	}
	if i > 0 {
		z.moved += math.Abs(v-x[i-1]) / math.Max(quantum, 1e-12)
		z.waiting--
	}
	if z.waiting == 0 {
		if z.moved >= activeSteps*lookBack/2 {
			if len(z.dropped) < maxPlaces {
				z.dropped = append(z.dropped, z.pending)
			}
			z.drops++
		}
		z.pending = -1
	}
}

func (z *zeroRuns) end() {
	switch {
	case z.run >= z.least:
		if z.runs == 0 {
			z.first = z.start
		}
		z.runs++
		z.total += z.run
		z.longest = max(z.longest, z.run)
		if z.steps >= activeSteps {
			z.abrupt++
		}
	case z.run >= leastDrop && z.steps >= activeSteps && z.edge >= activeSteps: // cut, not faded
		z.pending, z.waiting, z.moved = z.start, lookBack/2, 0
	}
	z.run = 0
}

// lastOf is the sample before the end of x, which may lie in past.
func lastOf(x []float64, past *[tileFrames]float64) float64 {
	if len(x) > 0 {
		return x[len(x)-1]
	}
	return past[tileFrames-1]
}

func touchesZero(x []float64) bool {
	for i := leastDrop - 1; i < len(x); i += leastDrop {
		if x[i] == 0 {
			return true
		}
	}
	return false
}

// movement is the mean absolute difference of up to 32 samples that lead to
// sample n: those in x and, before them, in past.
func movement(x []float64, past *[tileFrames]float64, n int64) float64 {
	at := func(back int) float64 { // 1: the last one
		if back <= len(x) {
			return x[len(x)-back]
		}
		return past[tileFrames-(back-len(x))]
	}
	count := int(min(lookBack, n))
	if count < 2 {
		return 0
	}
	sum := 0.0
	for k := 1; k < count; k++ {
		sum += math.Abs(at(k) - at(k+1))
	}
	return sum / float64(count-1)
}
