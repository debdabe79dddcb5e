package noise

import (
	"math"

	"saddlewise/analysis/signal"
)

const (
	falseAlarm   = 0.001 // chance that noise passes for a line, all bins together
	humAlarm     = 0.003 // chance that noise passes for hum; half of it for the likely orders
	likelyOrders = 3
	weakAlarm    = 1e-3 // chance for one bin that the found hum points at
	searchShare  = 0.01 // mains within this share of 50 or 60 Hz
	searchOrders = 20
	mostOrders   = 60
	lowestNeeded = 6   // one line alone, or the common divisor of several, is hum only up to this order
	matchBins    = 0.5 // between a line and a multiple of the mains
	wanderShare  = 2e-4
)

// comb is one reading of the peaks as multiples of one frequency.
type comb struct {
	nominal int
	mainsHz float64
	score   float64 // log likelihood over noise alone
	orders  []int   // of the lines sure by themselves
}

func findHum(s *spectrum, f *floorCurve, peaks []peak, o Options, upperHz float64) *Hum {
	best, second := comb{}, comb{}
	for _, nominal := range nominals(o) {
		c := bestComb(s, peaks, nominal, upperHz)
		if c.score > best.score {
			best, second = c, best
		} else if c.score > second.score {
			second = c
		}
	}
	if best.score == 0 || !best.fromMains() || best.score < 1.05*second.score {
		return nil
	}
	return measureHum(s, f, best, upperHz)
}

func nominals(o Options) []int {
	switch {
	case o.MainsHz == 0:
		return []int{50, 60}
	case math.Abs(o.MainsHz-60) < math.Abs(o.MainsHz-50):
		return []int{60}
	default:
		return []int{50}
	}
}

// fromMains tells mains from a tone that happens to be a multiple: a clock's
// 1 kHz is the twentieth of 50 Hz.
func (c comb) fromMains() bool {
	divisor := 0
	for _, k := range c.orders {
		for a, b := k, divisor; ; a, b = b, a%b {
			if b == 0 {
				divisor = a
				break
			}
		}
	}
	return divisor > 0 && divisor <= lowestNeeded
}

// bestComb tries every peak as every order.
func bestComb(s *spectrum, peaks []peak, nominal int, upperHz float64) comb {
	strict := strictness{humAlarm / 2 / testedBins(s, likelyOrders), humAlarm / 2 / testedBins(s, searchOrders)}
	best := comb{}
	for _, k := range peaks {
		hz := k.bin * s.stepHz
		order := int(math.Round(hz / float64(nominal)))
		if order < 1 || order > searchOrders || k.p > strict.of(order) || !near(hz/float64(order), nominal) {
			continue
		}
		if c := grow(s, peaks, nominal, hz/float64(order), order, strict, upperHz); c.score > best.score {
			best = c
		}
	}
	return best
}

func near(mainsHz float64, nominal int) bool {
	return math.Abs(mainsHz/float64(nominal)-1) <= searchShare
}

// strictness is the chance under which a peak counts by itself.
type strictness struct{ likely, other float64 }

func (c strictness) of(order int) float64 {
	if order <= likelyOrders {
		return c.likely
	}
	return c.other
}

// testedBins is how many bins could pass for a line of either mains up to
// that order.
func testedBins(s *spectrum, orders int) float64 {
	n := 0.0
	for _, nominal := range []float64{50, 60} {
		for k := 1; k <= orders; k++ {
			n += 1 + 2*searchShare*nominal*float64(k)/s.stepHz
		}
	}
	return n
}

// grow collects the peaks at multiples of mainsHz, nearest orders first, and
// lets each line found sharpen the frequency.
func grow(s *spectrum, peaks []peak, nominal int, mainsHz float64, from int, strict strictness, upperHz float64) comb {
	c := comb{nominal: nominal, mainsHz: mainsHz}
	weight := float64(from * from)
	for order := 1; order <= mostOrders && float64(order)*c.mainsHz < upperHz; order++ {
		k, ok := nearest(peaks, float64(order)*c.mainsHz/s.stepHz, order, from)
		if !ok {
			continue
		}
		c.score += s.dof / 2 * (k.over - 1 - math.Log(k.over)) / (1 + 0.02*k.over)
		if k.p < strict.of(order) && order <= searchOrders {
			c.orders = append(c.orders, order)
		}
		if order > from {
			w := float64(order*order) * math.Min(1, k.over/100)
			c.mainsHz += w / (w + weight) * (k.bin*s.stepHz/float64(order) - c.mainsHz)
			weight += w
			from = order
		}
	}
	if !near(c.mainsHz, nominal) {
		return comb{}
	}
	return c
}

// nearest is the peak at bin, which may be off by more at orders far above
// the one that the frequency is known from.
func nearest(peaks []peak, bin float64, order, from int) (peak, bool) {
	reach := matchBins * math.Max(1, math.Min(2, float64(order)/float64(from)/2))
	best, ok := peak{}, false
	for _, k := range peaks {
		if math.Abs(k.bin-bin) <= reach && k.over > best.over {
			best, ok = k, true
		}
	}
	return best, ok
}

// measureHum measures each line of the comb that stands out.
func measureHum(s *spectrum, f *floorCurve, c comb, upperHz float64) *Hum {
	h := &Hum{MainsHz: c.mainsHz, NominalHz: c.nominal}
	for order := 1; order <= mostOrders && float64(order)*c.mainsHz < upperHz; order++ {
		f.mask(float64(order)*c.mainsHz/s.stepHz, lobe(order, s.stepHz, c.mainsHz))
	}
	f.draw(s)
	peaks := findPeaks(s, f, weakAlarm/mostOrders)
	odd, even := 0.0, 0.0
	for order := 1; order <= mostOrders && float64(order)*c.mainsHz < upperHz; order++ {
		k, ok := nearest(peaks, float64(order)*c.mainsHz/s.stepHz, order, order)
		if !ok {
			continue
		}
		line, power := measureLine(s, f, k.bin, lobe(order, s.stepHz, c.mainsHz))
		line.Order = order
		h.Lines = append(h.Lines, line)
		h.Certain = h.Certain || line.AboveFloorDB >= certainDB
		if order%2 == 1 {
			odd += power
		} else {
			even += power
		}
	}
	if len(h.Lines) == 0 {
		return nil
	}
	h.TotalDBFS, h.OddDBFS, h.EvenDBFS = signal.PowerToDBFS(odd+even), signal.PowerToDBFS(odd), signal.PowerToDBFS(even)
	return h
}

// lobe is how many bins each side of a line belong to it, mains that wander
// allowed for.
func lobe(order int, stepHz, mainsHz float64) int {
	wander := wanderShare * float64(order) * mainsHz / stepHz
	return min(lobeBins+int(math.Ceil(2*wander)), max(2, int(0.4*mainsHz/stepHz)))
}

// explains tells whether a line at hz belongs to the hum.
func (h *Hum) explains(hz, stepHz float64) bool {
	for _, l := range h.lines() {
		if math.Abs(l.Hz-hz) < 1.5*lobeBins*stepHz {
			return true
		}
	}
	return false
}

// cut is the floor in the bins that the hum's lines fill.
func (h *Hum) cut(s *spectrum, f *floorCurve) map[int]float64 {
	cut := map[int]float64{}
	for _, l := range h.lines() {
		k := int(math.Round(l.Hz / s.stepHz))
		half := lobe(l.Order, s.stepHz, h.MainsHz) + 1
		for j := max(0, k-half); j <= min(k+half, len(s.power)-1); j++ {
			cut[j] = f.density(j)
		}
	}
	return cut
}

func (h *Hum) lines() []Line {
	if h == nil {
		return nil
	}
	return h.Lines
}
