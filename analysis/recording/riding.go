package recording

import (
	"math"
	"slices"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// Limits for gain riding: common practice, no source.
const (
	blockS       = 0.050 // level blocks
	loudAboveDB  = 20    // a block this far above the background is loud
	leastPauseS  = 0.5
	ridingRiseDB = 3
)

// blocks keeps the level of every 50 ms and 25 ms, and of every 25 ms that of
// the first difference: there hiss stands out from hum, rumble and ringing.
type blocks struct {
	tiles      int // of half a block
	held       int
	half       bool
	part, all  tileStat
	levelsDBFS []float32
	halvesDBFS []float32
	hissDBFS   []float32
}

func newBlocks(rateHz float64, frames int64) blocks {
	b := blocks{tiles: max(1, int(math.Round(blockS/2*rateHz/tileFrames)))}
	halves := frames/int64(b.tiles*tileFrames) + 1
	b.halvesDBFS, b.hissDBFS = make([]float32, 0, halves), make([]float32, 0, halves)
	b.levelsDBFS = make([]float32, 0, halves/2+1)
	return b
}

func (b *blocks) tile(s tileSums) {
	b.part.x += s.x
	b.part.xx += s.xx
	b.part.dd += s.dd
	b.part.n += float64(s.n)
	if b.held++; b.held == b.tiles {
		b.flush()
	}
}

func (b *blocks) flush() {
	b.hissDBFS = append(b.hissDBFS, float32(signal.PowerToDBFS(b.part.dd/b.part.n)))
	b.halvesDBFS = append(b.halvesDBFS, b.part.levelDBFS())
	b.merge()
	if b.half {
		b.keepLevel()
	}
	b.half = !b.half
}

func (b *blocks) merge() {
	b.all.x, b.all.xx, b.all.n = b.all.x+b.part.x, b.all.xx+b.part.xx, b.all.n+b.part.n
	b.part, b.held = tileStat{}, 0
}

func (b *blocks) keepLevel() {
	b.levelsDBFS = append(b.levelsDBFS, b.all.levelDBFS())
	b.all = tileStat{}
}

// levelDBFS is the level without the mean.
func (t tileStat) levelDBFS() float32 {
	mean := t.x / t.n
	return float32(signal.PowerToDBFS(t.xx/t.n - mean*mean))
}

// end makes a block of a recording that is shorter than one.
func (b *blocks) end() {
	if len(b.levelsDBFS) == 0 {
		b.merge()
		b.keepLevel()
	}
}

func (b *blocks) describe(c *ChannelFacts) {
	sorted := slices.Sorted(slices.Values(b.levelsDBFS))
	c.BlocksDBFS = make([]float64, 11)
	for i := range c.BlocksDBFS {
		c.BlocksDBFS[i] = float64(sorted[int(math.Round(float64(i)/10*float64(len(sorted)-1)))])
	}
	rises := pauseRises(b.levelsDBFS, b.hissDBFS, c.BlocksDBFS[1])
	if c.Gaps = len(rises); c.Gaps == 0 {
		return
	}
	up := 0
	for _, r := range rises {
		if r >= ridingRiseDB {
			up++
		}
	}
	rise := stats.Summarize(rises)
	c.GainRidingDB, c.GainRidingInterval = rise.Median, rise.Interval
	c.GainRiding = len(rises) >= 3 && 4*up >= 3*len(rises)
}

// pauseRises follows the background through every pause after a loud event
// and says by how much it rises. A ringing string sinks and plain noise
// stays; only a gain that creeps back lets it rise.
func pauseRises(levels, hiss []float32, floorDBFS float64) []float64 {
	least := int(math.Ceil(leastPauseS / blockS))
	var rises []float64
	start := -1
	for i := 0; i <= len(levels); i++ {
		if i < len(levels) && float64(levels[i]) <= floorDBFS+loudAboveDB {
			continue
		}
		if start >= 0 && i-start >= least {
			rises = append(rises, pauseRise(hiss[2*start:2*i]))
		}
		start = i + 1
	}
	return rises
}

// pauseRise is the level of the pause's last third less the lowest before it.
// The end is left out: a finger may already be moving.
func pauseRise(hiss []float32) float64 {
	hiss = hiss[:len(hiss)-3-len(hiss)/10]
	third := len(hiss) / 3
	last := median(hiss[len(hiss)-third:])
	lowest := last
	const width = 5
	for i := 0; i+width <= len(hiss)-third; i++ {
		lowest = math.Min(lowest, median(hiss[i:i+width]))
	}
	return last - lowest
}

func median(values []float32) float64 {
	var few [8]float32
	s := append(few[:0], values...)
	slices.Sort(s)
	return float64(s[(len(s)-1)/2]+s[len(s)/2]) / 2
}
