package pitch

import (
	"math"
	"math/bits"
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
	sd, reach          float64 // about a partial, Hz: standard deviation and largest distance
	fits, astray       float64 // log density right at a partial, and where no line belongs
	logChance          float64 // of lines as strong that no string makes, per Hz
}

// lines finds the spectrum's lines below usefulHz, by frequency.
func (n note) lines(o Options, windowS float64) []line {
	size := swiftBelow(min(len(n.y), int(windowS*n.rateHz)))
	n.lent.window = resized(n.lent.window, size)
	power := windowedPower(n.lent.window, n.y)
	binHz := n.rateHz / float64(size)
	floor := noiseFloor(power, binHz)
	var out []line
	first := max(2, int(0.7*o.MinHz/binHz))
	for k := first; k < len(power)-1 && float64(k)*binHz < n.usefulHz(); k++ {
		if power[k] <= power[k-1] || power[k] < power[k+1] {
			continue
		}
		db, floorDB := toDB(power[k]), floor.at(k)
		if db-floorDB < minLineSNRDB {
			continue
		}
		shift, top := vertex(toDB(power[k-1]), db, toDB(power[k+1]))
		l := line{hz: (float64(k) + shift) * binHz, levelDB: top, snrDB: top - floorDB, binHz: binHz}
		l.hum = nearHum(l.hz, 0.7*binHz, o.HumHz)
		out = append(out, l)
	}
	return fewer(out)
}

// swiftBelow is a length up to n whose transform is fast: of long ones up to a
// fifth is given up for a power of two times 8, 9, 10, 12 or 15.
func swiftBelow(n int) int {
	if n < 1<<14 {
		return signal.FastBelow(n)
	}
	unit := 1 << (bits.Len(uint(n)) - 4)
	for _, k := range [...]int{15, 12, 10, 9} {
		if k*unit <= n {
			return k * unit
		}
	}
	return 8 * unit
}

func toDB(power float64) float64 { return 10 / math.Ln10 * math.Log(power+1e-60) }

// fewer keeps the lowest lines, which tell strings apart, and the strongest of
// the others, by frequency.
func fewer(l []line) []line {
	if len(l) <= maxLines {
		return l
	}
	others := l[maxLines/2:]
	slices.SortFunc(others, func(a, b line) int { return compare(b.snrDB, a.snrDB) })
	others = others[:maxLines/2]
	slices.SortFunc(others, func(a, b line) int { return compare(a.hz, b.hz) })
	return l[:maxLines]
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

// windowedPower is the power of the note, bin by bin, under the window w, which
// it overwrites. The window rises fast and falls slowly, as plucked strings do:
// Hann's with its time warped.
func windowedPower(w, y []float64) []float64 {
	const step = 64 // the window is straight between every so many samples
	next := 0.0
	for from := 0; from < len(w); from += step {
		now := next
		next = warpedHann(math.Min(1, float64(from+step)/float64(len(w))))
		rise := (next - now) / step
		for i := range min(step, len(w)-from) {
			w[from+i] = y[from+i] * (now + rise*float64(i))
		}
	}
	return signal.Energies(w, w)
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

// noiseFloor is the mean noise level around each bin, from the lower quartile
// of blocks: partials fill less than three quarters of them. The quartile of
// an exponential distribution lies at ln(4/3) of its mean.
func noiseFloor(power []float64, binHz float64) floor {
	const blockHz = 150
	block := max(24, int(blockHz/binHz))
	toMean := -10 * math.Log10(math.Log(4.0/3))
	f := floor{block: float64(block)}
	buf := make([]float64, block)
	for from := 0; from < len(power); from += block {
		part := buf[:copy(buf, power[from:])]
		if len(part) < block/2 {
			break
		}
		f.levelDB = append(f.levelDB, toDB(signal.Nth(part, len(part)/4))+toMean)
	}
	return f
}

// floor is a level in dB at the middle of each block.
type floor struct {
	block   float64
	levelDB []float64
}

// at is on straight lines between the blocks' middles, level beyond the ends.
func (f floor) at(bin int) float64 {
	last := len(f.levelDB) - 1
	if last < 0 {
		return math.Inf(1)
	}
	at := float64(bin)/f.block - 0.5
	i := int(math.Max(0, at))
	if at <= 0 || i >= last {
		return f.levelDB[min(i, last)]
	}
	return f.levelDB[i] + (f.levelDB[i+1]-f.levelDB[i])*(at-float64(i))
}
