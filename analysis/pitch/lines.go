package pitch

import (
	"math"
	"math/cmplx"
	"slices"

	"saddlewise/analysis/signal"
)

const (
	minLineSNRDB = 10
	lineWindowS  = 1.4 // longer windows resolve more, but fast partials are gone by then
	maxLines     = 160
)

// line is a local maximum of the spectrum that stands out of the noise.
type line struct {
	hz, levelDB, snrDB float64
	binHz              float64
	hum                bool
	logChance          float64 // of lines as strong that no string makes, per Hz
}

// lines finds the spectrum's lines below usefulHz, by frequency.
func (n note) lines(o Options, windowS float64) []line {
	size := signal.FastBelow(min(len(n.y), int(windowS*n.rateHz)))
	db := windowedSpectrum(n.y[:size])
	floor := noiseFloor(db, n.rateHz/float64(size))
	binHz := n.rateHz / float64(size)
	var out []line
	first := max(2, int(0.7*o.MinHz/binHz))
	for k := first; k < len(db)-1 && float64(k)*binHz < n.usefulHz(); k++ {
		if db[k] <= db[k-1] || db[k] < db[k+1] || db[k]-floor[k] < minLineSNRDB {
			continue
		}
		shift, top := vertex(db[k-1], db[k], db[k+1])
		l := line{hz: (float64(k) + shift) * binHz, levelDB: top, snrDB: top - floor[k], binHz: binHz}
		l.hum = nearHum(l.hz, 0.7*binHz, o.HumHz)
		out = append(out, l)
	}
	return strongestLines(out)
}

// strongestLines keeps what stands out most, by frequency.
func strongestLines(l []line) []line {
	if len(l) > maxLines {
		slices.SortFunc(l, func(a, b line) int { return compare(b.snrDB, a.snrDB) })
		l = l[:maxLines]
		slices.SortFunc(l, func(a, b line) int { return compare(a.hz, b.hz) })
	}
	return l
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func nearHum(hz, within float64, hum []float64) bool {
	for _, h := range hum {
		if math.Abs(hz-h) < within {
			return true
		}
	}
	return false
}

// windowedSpectrum is the level in dB of the note under a window that rises
// fast and falls slowly, as plucked strings do: Hann's with its time warped.
func windowedSpectrum(y []float64) []float64 {
	const step = 16 // the window is straight between every so many samples
	w := make([]float64, len(y))
	for from := 0; from < len(y); from += step {
		a := warpedHann(float64(from) / float64(len(y)))
		b := warpedHann(math.Min(1, float64(from+step)/float64(len(y))))
		for i := from; i < min(from+step, len(y)); i++ {
			w[i] = y[i] * (a + (b-a)*float64(i-from)/step)
		}
	}
	c := signal.Transform(w)
	db := make([]float64, len(c))
	for k, v := range c {
		db[k] = 20 * math.Log10(cmplx.Abs(v)+1e-30)
	}
	return db
}

func warpedHann(t float64) float64 {
	const warp = 0.65
	return 1 - math.Cos(2*math.Pi*math.Pow(t, warp))
}

// vertex is the place and height of a parabola through three points.
func vertex(a, b, c float64) (shift, top float64) {
	d := a - 2*b + c
	if d == 0 {
		return 0, b
	}
	shift = 0.5 * (a - c) / d
	return shift, b - 0.25*(a-c)*shift
}

// noiseFloor is the mean noise level in dB around each bin, from the lower
// quartile of blocks: partials fill less than three quarters of them. The
// quartile of an exponential distribution lies at ln(4/3) of its mean.
func noiseFloor(db []float64, binHz float64) []float64 {
	const blockHz = 150
	block := max(24, int(blockHz/binHz))
	toMean := -10 * math.Log10(math.Log(4.0/3))
	var at, level []float64
	buf := make([]float64, 0, block)
	for from := 0; from < len(db); from += block {
		part := db[from:min(from+block, len(db))]
		if len(part) < block/2 {
			break
		}
		buf = append(buf[:0], part...)
		slices.Sort(buf)
		at = append(at, float64(from)+float64(len(part))/2)
		level = append(level, buf[len(buf)/4]+toMean)
	}
	return interpolate(at, level, len(db))
}

// interpolate draws straight lines through points, level beyond the ends.
func interpolate(at, level []float64, n int) []float64 {
	out := make([]float64, n)
	j := 0
	for i := range out {
		x := float64(i)
		for j+1 < len(at) && at[j+1] < x {
			j++
		}
		switch {
		case len(at) == 0:
			out[i] = math.Inf(1)
		case x <= at[0]:
			out[i] = level[0]
		case j+1 >= len(at):
			out[i] = level[len(level)-1]
		default:
			out[i] = level[j] + (level[j+1]-level[j])*(x-at[j])/(at[j+1]-at[j])
		}
	}
	return out
}
