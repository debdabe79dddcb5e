package pitch

import (
	"math"
	"math/cmplx"
	"slices"
)

const (
	pairF          = 15    // F statistic from which two lines are there
	pairReach      = 0.005 // relative distance of two polarisations at most
	leastPeak      = 4     // of the residual's strongest bin over its mean, for a second line
	poorFit        = 3     // times the noise of the better partials
	seedPartials   = 6     // tried first
	seedWidths     = 1.5
	pairScatterDB  = 3 // of the polarisations' balance among partials
	pairSureDB     = 1 // of its mean
	transientRatio = 6 // of decays
	leastDecayPerS = 0.5
)

// polarisations are the string's two planes of vibration, where they are told.
type polarisations struct {
	apart float64 // relative distance of the other from the main one; 0: not told
	doubt float64 // chance that the other is the main one
}

// split fits two lines to a partial and keeps them where they explain far more
// than one and stand clearly apart.
func (n note) split(f *fitter, all []*tracked, t *tracked, s stiffString) {
	if !t.fit.ok {
		return
	}
	t.leave(all)
	second, ok := t.remainder()
	if !ok {
		return
	}
	two := f.fit(t.left, slices.Concat(t.own, []damped{second}, t.hum), t.reach(s, n.rateHz), t.wanted())
	if !t.betterAs(two) {
		return
	}
	t.keep(two)
	t.settleTransient(n.rateHz)
}

// wanted is what two lines must leave at most: far less than one, by an F
// test, or less than two others.
func (t *tracked) wanted() float64 {
	free := 2*len(t.band.x) - 8 - 2*len(t.hum)
	switch {
	case len(t.own) == 2:
		return t.fit.rss
	case free < 8:
		return 0
	}
	return t.fit.rss / (1 + 4*pairF/float64(free))
}

// betterAs tells whether two lines explain far more than one, or more than two
// others, and stand clearly apart.
func (t *tracked) betterAs(two fitResult) bool {
	if !two.ok || two.rss >= t.wanted() {
		return false
	}
	a, b := two.lines[0], two.lines[1]
	apart := math.Abs(a.omega - b.omega)
	ratio := cmplx.Abs(b.a) / cmplx.Abs(a.a)
	return apart > 4*math.Hypot(two.sd[0].omega, two.sd[1].omega) && apart < pairReach*a.omega && ratio > 0.03 && ratio < 30
}

// splitAlike splits again the partials whose fits leave more than noise,
// starting from the distance of the pairs that fit well; where there is none,
// the strongest such partials are tried first, by the width of their lines.
func (n note) splitAlike(f *fitter, all, work []*tracked, s stiffString) {
	poor := poorFit * quietest(work, 0.25)
	var worth []*tracked
	for _, t := range work {
		if t.fit.ok && t.noise() >= poor {
			worth = append(worth, t)
		}
	}
	if len(pairsApart(work, poor)) == 0 {
		for _, t := range worth[:min(len(worth), seedPartials)] {
			n.splitBy(f, all, t, seedWidths*t.own[0].decay/t.own[0].omega, poor, s)
		}
	}
	before := 0.0
	for range 2 {
		apart := pairsApart(work, poor)
		if len(apart) == 0 {
			return
		}
		slices.Sort(apart)
		middle := median(apart)
		if math.Abs(middle-before) < 0.05*middle {
			return
		}
		for _, t := range worth {
			if t.noise() >= poor {
				n.splitBy(f, all, t, middle, poor, s)
			}
		}
		before = middle
	}
}

// pairsApart are the relative distances of pairs that leave less than poor.
func pairsApart(work []*tracked, poor float64) (apart []float64) {
	for _, t := range work {
		if t.paired() && t.noise() < poor {
			apart = append(apart, math.Abs(t.own[1].omega/t.own[0].omega-1))
		}
	}
	return apart
}

// splitBy starts with two lines so far apart, the other above, below, or both
// about where one was, until they leave less than poor or turn out to be one.
func (n note) splitBy(f *fitter, all []*tracked, t *tracked, apart, poor float64, s stiffString) {
	t.leave(all)
	main := t.own[0]
	for _, at := range [...][2]float64{{0, apart}, {-apart, 0}, {-apart / 2, apart / 2}} {
		low, high := main, main
		low.omega *= 1 + at[0]
		high.omega *= 1 + at[1]
		two := f.fit(t.left, slices.Concat([]damped{low, high}, t.hum), t.reach(s, n.rateHz), t.wanted())
		switch {
		case t.betterAs(two):
			t.keep(two)
			t.settleTransient(n.rateHz)
		case two.rss < t.wanted():
			return
		}
		if t.noise() < poor {
			return
		}
	}
}

// agreed is the median of distances where they agree.
func agreed(apart []float64) (middle float64, ok bool) {
	if len(apart) < 3 {
		return 0, false
	}
	slices.Sort(apart)
	middle = median(apart)
	return middle, apart[3*len(apart)/4]-apart[len(apart)/4] < 0.4*math.Abs(middle)
}

// settleTransient puts the slower line first where the other dies away so much
// faster that it is the attack's glide, not the other polarisation.
func (t *tracked) settleTransient(rateHz float64) {
	least := leastDecayPerS / rateHz
	a, b := math.Max(t.own[0].decay, least), math.Max(t.own[1].decay, least)
	if t.transient = a > transientRatio*b || b > transientRatio*a; t.transient && a > b {
		t.swap()
	}
}

func (t *tracked) swap() {
	t.own[0], t.own[1] = t.own[1], t.own[0]
	t.fit.sd[0], t.fit.sd[1] = t.fit.sd[1], t.fit.sd[0]
}

// paired tells whether both lines are polarisations.
func (t *tracked) paired() bool { return len(t.own) == 2 && !t.transient }

// remainder is the strongest line that the fit leaves close by.
func (t *tracked) remainder() (damped, bool) {
	rest := t.left
	rest.x = slices.Clone(t.left.x)
	for _, d := range t.lines() {
		g := d.geometric(rest.n)
		image := g.mirror()
		for i, turn := range rest.turn {
			s := g.at(turn)
			rest.x[i] -= d.a*s + conj(d.a)*image.at(turn)
		}
	}
	main := t.own[0].omega
	best, most := -1, 0.0
	for i, v := range rest.x {
		if math.Abs(rest.theta(i)-main) > math.Max(pairReach*main, 4*math.Pi/float64(rest.n)) {
			continue
		}
		if e := norm(v); e > most {
			best, most = i, e
		}
	}
	if best < 0 || most < leastPeak*t.fit.rss/float64(len(rest.x)) {
		return damped{}, false
	}
	return guess(rest, rest.theta(best)), true
}

// agreeOnMain puts the same polarisation first in every pair: the one that is
// the stronger at the onset, after samples before. doubt is the chance that it
// is the other.
func agreeOnMain(work []*tracked, after float64) (doubt float64) {
	var sum, weights float64
	for _, t := range work {
		if t.paired() {
			db, sd := t.firstLouderDB(after)
			w := 1 / (sd*sd + pairScatterDB*pairScatterDB)
			sum += w * db * sign(t.own[0].omega-t.own[1].omega)
			weights += w
		}
	}
	if weights == 0 {
		return 0
	}
	upper := sum / weights // louder than the lower line, dB
	for _, t := range work {
		if t.paired() && sign(t.own[0].omega-t.own[1].omega) != sign(upper) {
			t.swap()
		}
	}
	return 0.5 * math.Erfc(math.Abs(upper)/math.Sqrt(2*(1/weights+pairSureDB*pairSureDB)))
}

// firstLouderDB is how much louder the first line of a pair is than the second
// after samples before the fit began, with its standard error.
func (t *tracked) firstLouderDB(after float64) (db, sd float64) {
	const perNeper = 20 / math.Ln10
	a, b := t.own[0], t.own[1]
	db = perNeper * (math.Log(cmplx.Abs(a.a)/cmplx.Abs(b.a)) + (a.decay-b.decay)*after)
	u, v := t.fit.sd[0], t.fit.sd[1]
	return db, perNeper * math.Hypot(math.Hypot(u.size, v.size), after*math.Hypot(u.omega, v.omega))
}

func sign(v float64) float64 { return math.Copysign(1, v) }

// settlePairs decides what pairs mean. Where their distances agree they are
// two polarisations: the main one is the pitch, and partials seen as one line
// may be either or both. Where they do not, each pair is one partial that beats
// for reasons of its own, and its middle counts. It returns the relative
// distance of two polarisations, 0 where there are none.
func settlePairs(p []partial) (relative float64) {
	var apart []float64
	for _, q := range p {
		if q.beatHz != 0 {
			apart = append(apart, q.beatHz/q.hz)
		}
	}
	middle, agree := agreed(apart)
	for i := range p {
		q := &p[i]
		switch {
		case q.beatHz == 0 && agree:
			q.sdHz = math.Hypot(q.sdHz, middle*q.hz)
		case q.beatHz != 0 && !agree:
			q.sdHz = math.Hypot(q.sdHz, q.beatHz*math.Sqrt(q.beatShare*(1-q.beatShare)))
			q.hz += q.beatShare * q.beatHz
			q.beatHz *= 1 - q.beatShare
		}
	}
	if !agree {
		return 0
	}
	return middle
}
