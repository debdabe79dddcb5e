package recording

import (
	"math"
	"math/bits"
	"slices"
)

// Limits for clicks: chosen by the error rates that the tests print.
const (
	clickRatio  = 4     // times everything near it
	nearSamples = 4     // a wrong sample spreads over 5 fourth differences
	aroundS     = 0.100 // how far around a click is compared
	sideS       = 0.020 // how far on each side levels are compared
	briefS      = 0.004 // and how far at once: the length of a touch
	onsetRise   = 1.25  // in power: what follows an onset is stronger
	othersSpare = 1     // other break allowed around one, beyond that
	leastSteps  = 16    // quantisation steps of a click
	leastJumpFS = 3e-5
	dedupeS     = 0.020
)

// clickFinder finds breaks in the samples: lost or repeated buffers, wrong
// samples, splices. A break is over within a few samples and stands alone,
// and what follows it is no stronger than what went before. A tap or a pluck
// is longer, or repeats with the string's period, or is the start of
// something stronger.
type clickFinder struct {
	around, side, brief int        // tiles
	ring                []tileStat // a power of two
	n                   int64      // tiles seen
	waiting             []click
	count               int
	at                  []int64
	scratch             []float64
}

type tileStat struct{ peak, x, xx, dd, yy, n float64 }

type click struct {
	tile   int64 // its tile
	sample int64
	offset int     // of the sample in its tile
	peak   float64 // squared
	beside float64 // largest other within this tile and the next to it, squared
}

// newClickFinder keeps no more tiles than frames fill.
func newClickFinder(rateHz float64, frames int64) clickFinder {
	tiles := func(s float64) int { return max(1, int(math.Ceil(s*rateHz/tileFrames))) }
	c := clickFinder{around: max(3, tiles(aroundS)), side: tiles(sideS), brief: tiles(briefS)}
	kept := min(int64(2*c.around+1), frames/tileFrames+3)
	c.ring = make([]tileStat, 1<<bits.Len64(uint64(kept-1)))
	return c
}

func (c *clickFinder) stat(tile int64) *tileStat { return &c.ring[tile&int64(len(c.ring)-1)] }

// tile takes the sums of a tile and its fourth differences.
func (c *clickFinder) tile(s tileSums, now, before *[tileFrames]float64, n int64, quantum float64) {
	*c.stat(c.n) = tileStat{s.peakSqr, s.x, s.xx, s.dd, s.yy, float64(s.n)}
	if len(c.waiting) > 0 {
		last := &c.waiting[len(c.waiting)-1]
		if last.tile == c.n-1 {
			from := int(last.sample + nearSamples + 1 - n)
			last.beside = math.Max(last.beside, largest(now[:s.n], 0, max(0, from)))
		}
		if c.waiting[0].tile+int64(c.around) <= c.n {
			c.judge(c.waiting[0])
			c.waiting = c.waiting[1:]
		}
	}
	c.propose(s, now, before, n, quantum)
	c.n++
}

// propose makes a click of the tile's largest fourth difference when that
// stands out from what is beside it.
func (c *clickFinder) propose(s tileSums, now, before *[tileFrames]float64, n int64, quantum float64) {
	jump := math.Max(leastSteps*quantum, leastJumpFS)
	if c.n <= int64(c.side) || s.peakSqr < 9*jump*jump || s.peakSqr < clickRatio*clickRatio*c.stat(c.n-2).peak {
		return
	}
	p := placeOf(now[:s.n], s.peakSqr)
	beside := largest(now[:s.n], p-nearSamples, p+nearSamples+1)
	beside = math.Max(beside, largest(before[:], p-nearSamples+tileFrames, tileFrames))
	if s.peakSqr < clickRatio*clickRatio*beside {
		return
	}
	if k := len(c.waiting) - 1; k >= 0 && n+int64(p)-c.waiting[k].sample <= nearSamples {
		if c.waiting[k].peak >= s.peakSqr { // one click on both sides of a border
			return
		}
		c.waiting = c.waiting[:k]
	}
	c.waiting = append(c.waiting, click{c.n, n + int64(p), p, s.peakSqr, beside})
}

// placeOf is where y has the given square.
func placeOf(y []float64, square float64) int {
	for i, v := range y {
		if v*v == square {
			return i
		}
	}
	return len(y) - 1
}

// largest is the largest square in y outside from..to.
func largest(y []float64, from, to int) float64 {
	most := 0.0
	for i, v := range y {
		if (i < from || i >= to) && v*v > most {
			most = v * v
		}
	}
	return most
}

// judge counts a click once its surroundings are known.
func (c *clickFinder) judge(k click) {
	first := max(0, k.tile-int64(c.around), c.n-int64(len(c.ring))+1)
	others, reference := c.scratch[:0], k.beside
	for i := first; i <= min(c.n, k.tile+int64(c.around)); i++ {
		switch d := max(i-k.tile, k.tile-i); {
		case d <= 1: // in beside
		case d <= int64(c.brief):
			reference = math.Max(reference, c.stat(i).peak)
		default:
			others = append(others, c.stat(i).peak)
		}
	}
	c.scratch = others
	slices.Sort(others)
	if len(others) > othersSpare {
		reference = math.Max(reference, others[len(others)-1-othersSpare])
	}
	if k.peak < clickRatio*clickRatio*reference || c.isOnset(k) {
		return
	}
	c.count++
	if len(c.at) < maxPlaces {
		c.at = append(c.at, k.sample)
	}
}

// isOnset tells whether what follows is stronger than what went before, as a
// whole or in its upper frequencies, at once or over a while.
func (c *clickFinder) isOnset(k click) bool {
	last, next := k.tile-1, k.tile+1
	if k.offset < nearSamples {
		last--
	}
	if k.offset >= tileFrames-nearSamples {
		next++
	}
	for _, side := range []int64{int64(c.brief), int64(c.side)} {
		before, after := c.power(last-side+1, last+1), c.power(next, next+side)
		for i := range before {
			if after[i] > onsetRise*before[i] {
				return true
			}
		}
	}
	return false
}

// power is the mean square of samples, first and fourth differences.
func (c *clickFinder) power(from, to int64) [3]float64 {
	var sum tileStat
	for i := max(0, from, c.n-int64(len(c.ring))+1); i < min(to, c.n); i++ {
		t := c.stat(i)
		sum.x, sum.xx, sum.dd, sum.yy, sum.n = sum.x+t.x, sum.xx+t.xx, sum.dd+t.dd, sum.yy+t.yy, sum.n+t.n
	}
	if sum.n == 0 {
		return [3]float64{}
	}
	mean := sum.x / sum.n
	return [3]float64{sum.xx/sum.n - mean*mean, sum.dd / sum.n, sum.yy / sum.n}
}

// end judges what is still waiting for its surroundings.
func (c *clickFinder) end() {
	c.n-- // the last tile seen
	for _, k := range c.waiting {
		if c.n-k.tile > int64(c.side) { // else too little is known of what follows
			c.judge(k)
		}
	}
	c.waiting = nil
}

// merged is both lists in order, places closer than apart taken once.
func merged(a, b []int64, apart int64) []int64 {
	all := append(slices.Clone(a), b...)
	slices.Sort(all)
	return slices.CompactFunc(all, func(p, q int64) bool { return q-p <= apart })
}
