package analysis

import (
	"math"

	"saddlewise/analysis/pitch"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
)

// drawnS is how much of a note its drawn spectrum is made from, at most.
const drawnS = 1.5

// drawnSpectrum is the note's spectrum for the report, thinned to the loudest
// bin in each step of a hundredth, with the partials the pitch was read from.
func drawnSpectrum(note []float64, rateHz float64, p pitch.Pitch) *result.Spectrum {
	longest := signal.PowerOfTwoWithin(int(drawnS * rateHz)) // powers of two transform quickly
	n := signal.FastBelow(min(len(note), longest))
	if n < 256 {
		return nil
	}
	power, stepHz := signal.HannPower(note[:n]), rateHz/float64(n)
	s := &result.Spectrum{Partials: []result.Partial{}}
	top := math.Inf(-1)
	for hz := 15.0; hz < math.Min(20000, rateHz/2); {
		next := math.Max(hz*1.01, hz+stepHz)
		best := 0
		for k := int(math.Ceil(hz / stepHz)); k < len(power) && float64(k)*stepHz < next; k++ {
			if best == 0 || power[k] > power[best] {
				best = k
			}
		}
		if best > 0 && power[best] > 0 {
			bin, db := summit(power, best)
			s.Hz, s.LevelDB = append(s.Hz, math.Round(bin*stepHz*100)/100), append(s.LevelDB, db)
			top = math.Max(top, db)
		}
		hz = next
	}
	for i := range s.LevelDB {
		s.LevelDB[i] = math.Round((s.LevelDB[i]-top)*100) / 100
	}
	for _, q := range p.Partials {
		s.Partials = append(s.Partials, result.Partial{N: q.N, Hz: q.Hz, LevelDB: q.LevelDB, ResidualCents: q.ResidualCents, Used: q.Used})
	}
	return s
}

// summit is where between the bins a peak at bin k lies, by the parabola
// through the levels, and how high; elsewhere it is the bin itself.
func summit(power []float64, k int) (bin, db float64) {
	bin, db = float64(k), signal.PowerToDB(power[k])
	if k+1 == len(power) || power[k-1] > power[k] || power[k+1] > power[k] {
		return bin, db
	}
	left, right := signal.PowerToDB(power[k-1])-db, signal.PowerToDB(power[k+1])-db
	if left+right == 0 {
		return bin, db
	}
	off := (left - right) / (left + right) / 2
	return bin + off, db - (left-right)*off/4
}
