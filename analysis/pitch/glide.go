package pitch

import (
	"math"
	"math/cmplx"
	"slices"
)

const (
	glideFromS, glideToS = 0.02, 0.15 // where the glide is read
	settledCents         = 0.1        // of glide left where the pitch counts as settled
	glidePartials        = 6
	leastTracked         = 2
	beatCents            = 8   // larger than what beats feign
	leftByGlide          = 0.5 // share of the variance that may be left beside a glide
	slowS                = 0.2
	longestSettleS       = 0.8
	windowSteps          = 96   // in which the glide's window is drawn
	attackS              = 0.01 // contact and first reflections: no string vibrates freely yet
)

// glide is the course of the pitch at the attack.
type glide struct {
	told        bool
	cents       float64 // re the hypothesis, at the attack
	spreadCents float64 // weighted standard deviation of the course
	attackS     float64 // end of the attack, from the onset
	settledS    float64 // likewise
	doubtful    bool    // polarisations that change places may look like it
}

// followGlide follows the common pitch of the strongest partials in short
// frames and fits a settling exponential to it.
func (n note) followGlide(h hypothesis, humHz []float64) glide {
	attack := math.Min(attackS, 0.05*n.seconds())
	none := glide{attackS: attack, settledS: attack}
	t, dev, weight := n.course(h, humHz)
	if len(t) < 6 {
		return none
	}
	none.spreadCents = spread(dev, weight)
	size, tau, significant := settling(t, dev, weight)
	told := none
	told.told = true
	var w, c float64
	for i, s := range t {
		if s >= glideFromS && s <= glideToS {
			w += weight[i]
			c += weight[i] * dev[i]
		}
	}
	if w == 0 {
		return none
	}
	told.cents = c / w
	if significant && math.Abs(size) > 5*settledCents {
		told.settledS = math.Max(told.settledS, tau*math.Log(math.Abs(size)/settledCents))
		told.settledS = math.Min(told.settledS, math.Min(longestSettleS, 0.4*n.seconds()))
		told.doubtful = size < 0 || tau >= slowS && size < beatCents
	}
	return told
}

// course is the deviation in cents from the hypothesis, frame by frame.
func (n note) course(h hypothesis, humHz []float64) (t, dev, weight []float64) {
	stepSize := int(math.Ceil(math.Max(4/h.s.f0, 0.02) * n.rateHz / windowSteps))
	const hop = windowSteps / 4
	count := min(len(n.y)/stepSize-windowSteps, int(1.5*n.rateHz)/stepSize) / hop
	if count < 4 {
		return nil, nil, nil
	}
	window := make([]float64, windowSteps)
	for i := range window {
		window[i] = 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/windowSteps)
	}
	hopS := float64(hop*stepSize) / n.rateHz
	num, den := make([]float64, count-1), make([]float64, count-1)
	for _, m := range trackable(h, hopS, humHz) {
		c := n.heterodyne(m.line.hz, window, stepSize, hop, count)
		for i := range num {
			turn := cmplx.Phase(c[i+1] * cmplx.Conj(c[i]))
			power := cmplx.Abs(c[i+1] * c[i])
			hz := turn / (2 * math.Pi * hopS)
			num[i] += power * m.line.hz * m.line.hz * 1200 / math.Ln2 * hz / m.line.hz
			den[i] += power * m.line.hz * m.line.hz
		}
	}
	for i := range num {
		if den[i] > 0 {
			t = append(t, (float64(i)+2.5)*hopS)
			dev = append(dev, num[i]/den[i])
			weight = append(weight, den[i])
		}
	}
	return t, dev, weight
}

// trackable are the strongest partials whose phase cannot slip a turn between
// frames at 50 cents off, best those clear of hum by the width of the window.
func trackable(h hypothesis, hopS float64, humHz []float64) []match {
	var clear, humming []match
	for _, m := range h.matches {
		switch {
		case m.line.hum || m.line.hz*0.03 >= 0.4/hopS:
		case nearHum(m.line.hz, 0.5/hopS, humHz):
			humming = append(humming, m)
		default:
			clear = append(clear, m)
		}
	}
	for _, m := range [][]match{clear, humming} {
		slices.SortFunc(m, func(a, b match) int { return compare(b.line.levelDB, a.line.levelDB) })
	}
	if len(clear) >= leastTracked {
		return clear[:min(len(clear), glidePartials)]
	}
	out := append(clear, humming...)
	return out[:min(len(out), glidePartials)]
}

// heterodyne is the windowed complex amplitude about hz, one a hop. The note
// is summed by steps within which the window hardly changes.
func (n note) heterodyne(hz float64, window []float64, stepSize, hop, count int) []complex128 {
	omega := 2 * math.Pi * hz / n.rateHz
	turns := make([]complex128, stepSize)
	for i := range turns {
		turns[i] = cmplx.Rect(1, -omega*float64(i))
	}
	n.lent.bins = resized(n.lent.bins, (count-1)*hop+len(window))
	steps := n.lent.bins
	turn, perStep := complex(1, 0), cmplx.Rect(1, -omega*float64(stepSize))
	for j := range steps {
		var re, im float64
		for i, v := range n.y[j*stepSize:][:stepSize] {
			re += v * real(turns[i])
			im += v * imag(turns[i])
		}
		steps[j] = turn * complex(re, im)
		turn *= perStep
	}
	out := make([]complex128, count)
	for j := range out {
		var re, im float64
		at := steps[j*hop:][:len(window)]
		for i, w := range window {
			re += w * real(at[i])
			im += w * imag(at[i])
		}
		out[j] = complex(re, im)
	}
	return out
}

// settling fits level + size exp(-t/tau), tau from a grid, and says whether
// the exponential is there at all: an F test at about 0.1 %, and beats, which no
// exponential explains, leave too much.
func settling(t, dev, weight []float64) (size, tau float64, significant bool) {
	flat := leastSquares(t, dev, weight, 0)
	best := flat
	for _, try := range [...]float64{0.015, 0.03, 0.05, 0.08, 0.12, 0.2, 0.3} {
		if f := leastSquares(t, dev, weight, try); f.rss < best.rss {
			best, tau = f, try
		}
	}
	free := float64(len(t) - 3)
	f := (flat.rss - best.rss) / 2 / (best.rss/free + 1e-12)
	return best.size, tau, tau > 0 && f > 8 && (best.rss < leftByGlide*flat.rss || math.Abs(best.size) > beatCents)
}

type exponentialFit struct{ level, size, rss float64 }

func leastSquares(t, dev, weight []float64, tau float64) exponentialFit {
	var w, we, wee, wd, wde, wdd float64
	for i, s := range t {
		var e float64
		if tau > 0 {
			e = math.Exp(-s / tau)
		}
		w += weight[i]
		we += weight[i] * e
		wee += weight[i] * e * e
		wd += weight[i] * dev[i]
		wde += weight[i] * dev[i] * e
		wdd += weight[i] * dev[i] * dev[i]
	}
	var f exponentialFit
	if det := w*wee - we*we; tau > 0 && det > 1e-9*w*wee {
		f.size = (w*wde - we*wd) / det
	}
	f.level = (wd - f.size*we) / w
	f.rss = math.Max(0, wdd-f.level*wd-f.size*wde)
	return f
}

// spread is the weighted standard deviation.
func spread(v, weight []float64) float64 {
	var w, sum, square float64
	for i, x := range v {
		w += weight[i]
		sum += weight[i] * x
		square += weight[i] * x * x
	}
	mean := sum / w
	return math.Sqrt(math.Max(0, square/w-mean*mean))
}
