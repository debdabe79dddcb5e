package noise

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/signal"
)

// The mains frequency is read from a few lines over pieces short enough for
// the mains not to wander out of step in them, long enough to tell a line's
// frequency far better than the spectrum does.
const (
	pieceS      = 2.0
	mostPieces  = 4
	mostLines   = 4
	searchBins  = 0.6 // of the spectrum, to either side of the line in it
	searchSteps = 8   // of a piece's own resolution
	outlying    = 4.0 // standard errors from the other lines: not of the mains

	// Mains that wander by wanderShare are not quite their mean where a piece
	// tells most; no line is trusted further than the least share.
	wanderUntold = 2e-5
	leastShare   = 1e-6
)

// reading is the mains frequency as one line tells it.
type reading struct{ hz, sd float64 }

// refine reads the mains frequency again from the lines that tell most of it.
// A line of power P in noise of density S over T seconds has a frequency of
// variance 6 S/(P T³ (2 pi)²), its Cramer-Rao bound (Rife & Boorstyn, IEEE
// Trans. Information Theory 20, 591-598, 1974); that of the mains is less by
// the square of the order.
func (h *Hum) refine(ctx context.Context, src signal.Source, clean []run, s *spectrum, f *floorCurve) error {
	lines := h.telling(s, f)
	shifted, stepS, err := h.shifted(ctx, src, clean, lines)
	if err != nil {
		return err
	}
	var readings []reading
	for i, l := range lines {
		readings = append(readings, l.mains(shifted[i], stepS, s, f))
	}
	h.MainsHz, h.SDHz = agreement(readings)
	h.SDHz = math.Hypot(h.SDHz, wanderUntold*h.MainsHz)
	return nil
}

// shifted is each line shifted to zero frequency, one value every stepS, in
// each piece. Averaging over one period of the mains, three times, takes all
// other lines out.
func (h *Hum) shifted(ctx context.Context, src signal.Source, clean []run, lines []Line) (z [][][]complex128, stepS float64, err error) {
	rate := src.Rate()
	d := int(math.Round(rate / h.MainsHz))
	z = make([][][]complex128, len(lines))
	var x []float64
	for _, r := range piecesOf(clean, rate) {
		if err := ctx.Err(); err != nil {
			return nil, 0, err
		}
		x = slices.Grow(x[:0], int(r.end-r.first))[:r.end-r.first]
		if n, err := src.ReadAt(x, r.first); n < len(x) {
			return nil, 0, fmt.Errorf("read samples from %d: %w", r.first, cause(err))
		}
		for i, l := range lines {
			z[i] = append(z[i], signal.Baseband(x, rate, l.Hz, d))
		}
	}
	return z, float64(d) / rate, nil
}

// telling are the lines that tell most of the mains frequency.
func (h *Hum) telling(s *spectrum, f *floorCurve) []Line {
	worth := func(l Line) float64 {
		floor := math.Max(f.density(int(math.Round(l.Hz/s.stepHz))), math.SmallestNonzeroFloat64)
		return float64(l.Order*l.Order) * signal.DBFSToPower(l.LevelDBFS) / floor
	}
	lines := slices.Clone(h.Lines)
	slices.SortStableFunc(lines, func(a, b Line) int {
		return cmp.Compare(worth(b), worth(a))
	})
	return lines[:min(len(lines), mostLines)]
}

// piecesOf is up to mostPieces pieces, spread evenly over the clean sound.
func piecesOf(clean []run, rateHz float64) []run {
	n := int64(pieceS * rateHz)
	var all []run
	for _, r := range clean {
		count := max(1, (r.end-r.first)/n)
		for k := range count {
			all = append(all, run{r.first + (r.end-r.first)*k/count, r.first + (r.end-r.first)*(k+1)/count})
		}
	}
	longest := slices.MaxFunc(all, func(a, b run) int { return int((a.end - a.first) - (b.end - b.first)) })
	all = slices.DeleteFunc(all, func(r run) bool { return 2*(r.end-r.first) < longest.end-longest.first })
	pieces := make([]run, min(mostPieces, len(all)))
	for k := range pieces {
		pieces[k] = all[k*len(all)/len(pieces)]
	}
	return pieces
}

// mains finds where the line's power over all pieces is highest.
func (l Line) mains(shifted [][]complex128, stepS float64, s *spectrum, f *floorCurve) reading {
	power := func(hz float64) float64 { return powerAt(shifted, hz*stepS) }
	longest, cubes := 0.0, 0.0
	for _, z := range shifted {
		seconds := float64(len(z)) * stepS
		longest, cubes = math.Max(longest, seconds), cubes+math.Pow(seconds, 3)
	}
	step := 1 / (searchSteps * longest)
	reach := int(math.Ceil(searchBins * s.stepHz / step))
	best, top := 0.0, 0.0
	for k := -reach; k <= reach; k++ {
		if p := power(float64(k) * step); p > top {
			best, top = float64(k)*step, p
		}
	}
	for range 2 {
		below, above := power(best-step), power(best+step)
		if curve := below - 2*top + above; curve < 0 {
			best += math.Max(-1, math.Min(1, 0.5*(below-above)/curve)) * step
		}
		top, step = power(best), step/4
	}
	density := f.density(int(math.Round(l.Hz / s.stepHz)))
	variance := 6 * density / (signal.DBFSToPower(l.LevelDBFS) * cubes * 4 * math.Pi * math.Pi)
	hz := (l.Hz + best) / float64(l.Order)
	return reading{hz, math.Hypot(math.Sqrt(variance)/float64(l.Order), leastShare*hz)}
}

// powerAt sums the pieces' power at a frequency in turns per value.
func powerAt(pieces [][]complex128, turns float64) float64 {
	sin, cos := math.Sincos(-2 * math.Pi * turns)
	step := complex(cos, sin)
	power := 0.0
	for _, z := range pieces {
		turn, sum := 1+0i, 0i
		for _, v := range z {
			sum += v * turn
			turn *= step
		}
		power += real(sum)*real(sum) + imag(sum)*imag(sum)
	}
	return power
}

// agreement is the weighted mean of the readings without those that lie far
// off the others. Readings that scatter by more than their errors widen its
// standard error.
func agreement(readings []reading) (hz, sd float64) {
	for {
		sum, weight := 0.0, 0.0
		for _, r := range readings {
			w := 1 / (r.sd * r.sd)
			sum, weight = sum+w*r.hz, weight+w
		}
		hz, sd = sum/weight, 1/math.Sqrt(weight)
		chi, worst, at := 0.0, 0.0, 0
		for i, r := range readings {
			off := math.Abs(r.hz-hz) / r.sd
			chi += off * off
			if off > worst {
				worst, at = off, i
			}
		}
		n := float64(len(readings) - 1)
		if len(readings) < 3 || worst < outlying {
			if n > 0 && chi > n {
				sd *= math.Sqrt(chi / n)
			}
			return hz, sd
		}
		readings = slices.Delete(readings, at, at+1)
	}
}
