package recording

import (
	"math"

	"saddlewise/analysis/stats"
)

// gainRiding follows the background through the pauses between loud events.
// A ringing string sinks, and plain noise stays; only a gain that creeps back
// lets the background rise. levels are those of consecutive blocks, floorDBFS
// the background's.
func gainRiding(levels []float64, floorDBFS, stepS float64) (pauses int, riseDB float64, sure bool) {
	least := int(math.Ceil(leastPauseS / stepS))
	var rises []float64
	start := -1
	for i, v := range levels {
		if v > floorDBFS+loudAboveDB {
			if start >= 0 && i-start >= least {
				rises = append(rises, pauseRise(levels[start:i]))
			}
			start = i + 1
		}
	}
	if len(rises) == 0 {
		return 0, 0, false
	}
	up := 0
	for _, r := range rises {
		if r >= ridingRiseDB {
			up++
		}
	}
	return len(rises), stats.Median(rises), len(rises) >= 3 && 4*up >= 3*len(rises)
}

// pauseRise is the last third's median level less the lowest third's. The last
// blocks are left out: a finger may already be moving.
func pauseRise(pause []float64) float64 {
	pause = pause[:len(pause)-1-len(pause)/10]
	n := len(pause) / 3
	first, middle, last := stats.Median(pause[:n]), stats.Median(pause[n:2*n]), stats.Median(pause[2*n:])
	return last - math.Min(first, middle)
}
