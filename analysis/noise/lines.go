package noise

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/signal"
)

const (
	lobeBins     = 4 // half the main lobe of the Blackman-Harris window
	humLimitHz   = 2100
	mainsTrust   = 0.01 // how far the mains strays from 50 or 60 Hz
	falseLine    = 1e-5 / 1000
	mostOthers   = 5
	otherLeastDB = 12
)

// findLines lists the local maxima that stand out of the floor around them.
func findLines(p signal.PSD, upper float64) []Line {
	// Overlap by half makes about 1.2 segments of two independent ones' worth
	// for this window; counting all of them is right within the threshold's
	// slack.
	k := math.Max(1, float64(p.Segments)*0.9)
	gamma := distuv.Gamma{Alpha: k, Beta: k}
	threshold := gamma.Quantile(1 - falseLine)
	toMean := 1 / gamma.Quantile(0.5)
	last := min(len(p.Power)-lobeBins-1, int(upper/p.StepHz))
	var lines []Line
	for i := max(lobeBins+1, int(15/p.StepHz)); i < last; i++ {
		if !isPeak(p.Power, i) {
			continue
		}
		floor := localFloor(p, i) * toMean
		if p.Power[i] < threshold*floor {
			continue
		}
		lines = append(lines, lineAt(p, i, floor))
	}
	return lines
}

func isPeak(power []float64, i int) bool {
	for d := 1; d <= 2; d++ {
		if power[i] <= power[i-d] || power[i] < power[i+d] {
			return false
		}
	}
	return true
}

// localFloor is the geometric mean of the medians left and right of a peak's
// main lobe, so that a sloping floor does not tilt it.
func localFloor(p signal.PSD, i int) float64 {
	width := max(12, i/8)
	side := func(from, to int) float64 {
		from, to = max(1, from), min(len(p.Power), to)
		if to-from < 4 {
			return math.NaN()
		}
		s := slices.Sorted(slices.Values(p.Power[from:to]))
		return s[len(s)/2]
	}
	left, right := side(i-lobeBins-width, i-lobeBins), side(i+lobeBins+1, i+lobeBins+1+width)
	switch {
	case math.IsNaN(left):
		return right
	case math.IsNaN(right):
		return left
	}
	return math.Sqrt(left * right)
}

// lineAt sums the main lobe and finds its centre by a parabola through the
// peak's logarithms.
func lineAt(p signal.PSD, i int, floor float64) Line {
	power := 0.0
	for k := i - lobeBins; k <= i+lobeBins; k++ {
		power += math.Max(0, p.Power[k]-floor)
	}
	a, b, c := math.Log(p.Power[i-1]), math.Log(p.Power[i]), math.Log(p.Power[i+1])
	shift := 0.0
	if d := a - 2*b + c; d < 0 {
		shift = 0.5 * (a - c) / d
	}
	return Line{
		Hz:           (float64(i) + shift) * p.StepHz,
		LevelDBFS:    signal.PowerToDBFS(power * p.StepHz),
		AboveFloorDB: signal.PowerToDB(p.Power[i] / floor),
	}
}

// humOf tells mains lines from others. known is 50, 60 or 0.
func humOf(lines []Line, known float64) (*Hum, []Line) {
	best, rival := match(lines, 50), match(lines, 60)
	if known == 60 || known == 0 && rival.excess() > best.excess() {
		best, rival = rival, best
	}
	var hum *Hum
	if len(best.lines) > 0 {
		hum = best.hum()
		hum.Certain = known != 0 || best.excess() > rival.excess()+3
	}
	var others []Line
	for _, l := range lines {
		if l.AboveFloorDB >= otherLeastDB && !slices.ContainsFunc(best.lines, func(m Line) bool { return m.Hz == l.Hz }) {
			others = append(others, l)
		}
	}
	slices.SortStableFunc(others, func(a, b Line) int { return cmp.Compare(b.LevelDBFS, a.LevelDBFS) })
	return hum, others[:min(len(others), mostOthers)]
}

// comb is the lines that fit multiples of one mains frequency.
type comb struct {
	nominal int
	mainsHz float64
	lines   []Line
}

// excess is how far the comb's lines stand out together, dB.
func (c comb) excess() float64 {
	sum := 0.0
	for _, l := range c.lines {
		sum += l.AboveFloorDB
	}
	return sum
}

// match finds the mains frequency near nominal that most of the lines' power
// above the floor agrees on: each line proposes one.
func match(lines []Line, nominal int) comb {
	best := comb{nominal: nominal}
	for _, l := range lines {
		if l.Hz > humLimitHz {
			continue
		}
		order := math.Round(l.Hz / float64(nominal))
		if order < 1 || math.Abs(l.Hz/(order*float64(nominal))-1) > mainsTrust {
			continue
		}
		if c := fitted(lines, nominal, l.Hz/order); c.excess() > best.excess() {
			best = c
		}
	}
	return best
}

// fitted collects the lines at multiples of mainsHz and refines it by least
// squares: a high harmonic tells the mains frequency more exactly.
func fitted(lines []Line, nominal int, mainsHz float64) comb {
	c := comb{nominal: nominal}
	top, bottom := 0.0, 0.0
	for _, l := range lines {
		order := math.Round(l.Hz / mainsHz)
		if order < 1 || l.Hz > humLimitHz || math.Abs(l.Hz-order*mainsHz) > 0.15+0.0015*l.Hz {
			continue
		}
		l.Order = int(order)
		c.lines = append(c.lines, l)
		top += order * l.Hz
		bottom += order * order
	}
	if bottom > 0 {
		c.mainsHz = top / bottom
	}
	return c
}

func (c comb) hum() *Hum {
	h := &Hum{MainsHz: c.mainsHz, NominalHz: c.nominal, Lines: c.lines}
	odd, even := 0.0, 0.0
	for _, l := range c.lines {
		if l.Order%2 == 1 {
			odd += signal.DBFSToPower(l.LevelDBFS)
		} else {
			even += signal.DBFSToPower(l.LevelDBFS)
		}
	}
	h.OddDBFS, h.EvenDBFS = signal.PowerToDBFS(odd), signal.PowerToDBFS(even)
	h.TotalDBFS = signal.PowerToDBFS(odd + even)
	return h
}
