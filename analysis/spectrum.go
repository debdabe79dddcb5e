package analysis

import (
	"math"
	"math/bits"

	"saddlewise/analysis/pitch"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
)

// drawnS is how much of a note its drawn spectrum is made from.
const drawnS = 1.5

// drawnSpectrum is the note's spectrum for the report, thinned to the loudest
// bin in each step of a hundredth, with the partials the pitch was read from.
func drawnSpectrum(note []float64, rateHz float64, p pitch.Pitch) *result.Spectrum {
	x := note[:min(len(note), int(drawnS*rateHz))]
	if len(x) < 256 {
		return nil
	}
	n := 1 << bits.Len(uint(len(x)-1))
	padded := make([]float64, n)
	for i, c := range signal.Hann(len(x)).Coefficients {
		padded[i] = x[i] * c
	}
	bins := signal.Transform(padded)
	s := &result.Spectrum{Partials: []result.Partial{}}
	top := math.Inf(-1)
	for hz := 15.0; hz < math.Min(20000, rateHz/2); {
		next := math.Max(hz*1.01, hz+rateHz/float64(n))
		best, at := 0.0, hz
		for k := int(math.Ceil(hz * float64(n) / rateHz)); k < len(bins) && float64(k)*rateHz/float64(n) < next; k++ {
			if e := real(bins[k])*real(bins[k]) + imag(bins[k])*imag(bins[k]); e > best {
				best, at = e, float64(k)*rateHz/float64(n)
			}
		}
		if best > 0 {
			db := signal.PowerToDB(best)
			s.Hz, s.LevelDB = append(s.Hz, math.Round(at*100)/100), append(s.LevelDB, db)
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
