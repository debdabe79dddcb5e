package pitch

import (
	"math"
	"math/cmplx"
	"slices"
)

const (
	fitRounds      = 2  // each partial again, the others taken away
	guessBins      = 16 // on each side of a line that its decay is guessed from
	mostFitted     = 24 // partials: more add time, not accuracy
	leastBins      = 10
	leastSNRDB     = 0 // of a partial that counts, energy over what the band leaves
	reachCents     = 45
	pairF          = 15    // F statistic from which two lines are there
	pairReach      = 0.005 // relative distance of two polarisations at most
	leastTail      = 0.02  // of the residual a bin: smaller leakage is not taken away
	leastPeak      = 4     // of the residual's strongest bin over its mean, for a second line
	transientRatio = 6     // of decays
	leastDecayPerS = 0.5
	decayWidths    = 6 // half bandwidths of a partial that its band takes in
)

// tracked is one partial in work.
type tracked struct {
	n         int
	band      band
	left      band     // without the other partials
	own       []damped // the partial, or the two lines of a beating pair, stronger first
	hum       []damped
	fit       fitResult // of own, then hum
	leaks     []leak    // of own
	transient bool      // the second of own is the attack's
}

// fitPartials fits damped sinusoids to each partial of the hypothesis on the
// note from fromS on, each with the others' leakage and known hum taken away.
// A string vibrates in two planes that the bridge may tune apart: where one
// line leaves more than noise, two are fitted.
func (n note) fitPartials(h hypothesis, fromS float64, humHz []float64) []partial {
	x := spectrumOf(n.y[min(int(fromS*n.rateHz), len(n.y)-1):])
	work := n.start(h, x, humHz)
	order := strongestFirst(work)
	var f fitter
	for range fitRounds {
		for _, i := range order {
			n.refit(&f, work, i, h.s)
		}
	}
	for _, i := range order {
		n.split(&f, work, i, h.s)
	}
	agreeOnMain(work, fromS*n.rateHz)
	return n.measured(work, h.s)
}

// start lays a band about each matched line and guesses decay and amplitude.
func (n note) start(h hypothesis, x spectrum, humHz []float64) []*tracked {
	perBin := n.rateHz / float64(x.n)
	var out []*tracked
	for _, m := range h.strongest(mostFitted) {
		centre := m.line.hz / perBin
		half := 0.5 * h.s.f0 / perBin
		b := x.about(centre, math.Min(half, guessBins))
		d := guess(b, 2*math.Pi*m.line.hz/n.rateHz)
		wanted := math.Max(leastBins, decayWidths*d.decay*float64(x.n)/(2*math.Pi))
		if wanted > guessBins {
			b = x.about(centre, math.Min(half, wanted))
		}
		b = b.within(centre, math.Min(half, wanted))
		if len(b.x) < 5 {
			continue
		}
		t := &tracked{n: m.n, band: b, own: []damped{d}, left: band{n: b.n, low: b.low, turn: b.turn, x: make([]complex128, len(b.x))}}
		t.noteLeaks()
		for _, hz := range humHz {
			if math.Abs(hz-m.line.hz) < float64(len(b.x))/2*perBin {
				t.hum = append(t.hum, damped{omega: 2 * math.Pi * hz / n.rateHz, still: true})
			}
		}
		out = append(out, t)
	}
	return out
}

// guess tries decays from slow to fast and keeps what explains most.
func guess(b band, omega float64) damped {
	best, most := damped{omega: omega}, -1.0
	for _, perNote := range [...]float64{0.2, 1, 3, 8, 20, 50} {
		d := damped{omega: omega, decay: perNote / float64(b.n)}
		g := d.geometric(b.n)
		var cross complex128
		var power float64
		for i, turn := range b.turn {
			s := g.at(turn)
			cross += b.x[i] * conj(s)
			power += norm(s)
		}
		if explained := norm(cross) / power; explained > most {
			d.a = cross / complex(power, 0)
			best, most = d, explained
		}
	}
	return best
}

// strongest are at most so many of the lines explained, by n.
func (h hypothesis) strongest(most int) []match {
	if len(h.matches) <= most {
		return h.matches
	}
	out := slices.Clone(h.matches)
	slices.SortFunc(out, func(a, b match) int { return compare(b.line.snrDB, a.line.snrDB) })
	out = out[:most]
	slices.SortFunc(out, func(a, b match) int { return a.n - b.n })
	return out
}

func strongestFirst(work []*tracked) []int {
	order := make([]int, len(work))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		return compare(cmplx.Abs(work[j].own[0].a), cmplx.Abs(work[i].own[0].a))
	})
	return order
}

// refit fits partial i on what the others leave.
func (n note) refit(f *fitter, work []*tracked, i int, s stiffString) {
	t := work[i]
	t.leave(work)
	t.keep(f.fit(t.left, t.lines(), t.reach(s, n.rateHz)))
}

func (t *tracked) lines() []damped { return slices.Concat(t.own, t.hum) }

func (t *tracked) keep(f fitResult) {
	t.fit = f
	own := len(f.lines) - len(t.hum)
	t.own, t.hum = f.lines[:own:own], f.lines[own:]
	t.noteLeaks()
}

func (t *tracked) noteLeaks() {
	t.leaks = t.leaks[:0]
	for _, d := range t.own {
		t.leaks = append(t.leaks, d.leak(t.band.n))
	}
}

// leave takes the other partials out of the partial's band.
func (t *tracked) leave(work []*tracked) {
	copy(t.left.x, t.band.x)
	least := leastTail * math.Sqrt(t.fit.rss/float64(len(t.left.x)))
	for _, other := range work {
		if other == t {
			continue
		}
		for _, l := range other.leaks {
			if l.heard(t.left, least) {
				l.takeFrom(t.left)
			}
		}
	}
}

// reach is how far, in radians a sample, a fit may move.
func (t *tracked) reach(s stiffString, rateHz float64) float64 {
	perBin := 2 * math.Pi / float64(t.band.n)
	return math.Max(2*perBin, 2*math.Pi*s.hz(t.n)/rateHz*reachCents*math.Ln2/1200)
}

// split fits two lines to partial i and keeps them where they explain far more
// than one and stand clearly apart.
func (n note) split(f *fitter, work []*tracked, i int, s stiffString) {
	t := work[i]
	if !t.fit.ok {
		return
	}
	t.leave(work)
	second, ok := t.remainder()
	if !ok {
		return
	}
	two := f.fit(t.left, slices.Concat(t.own, []damped{second}, t.hum), t.reach(s, n.rateHz))
	free := 2*len(t.left.x) - 8 - 2*len(t.hum)
	if !two.ok || free < 8 || (t.fit.rss-two.rss)/4/(two.rss/float64(free)) < pairF {
		return
	}
	a, b := two.lines[0], two.lines[1]
	apart := math.Abs(a.omega - b.omega)
	ratio := cmplx.Abs(b.a) / cmplx.Abs(a.a)
	if apart < 4*math.Hypot(two.omegaSD[0], two.omegaSD[1]) || apart > pairReach*a.omega || ratio < 0.03 || ratio > 30 {
		return
	}
	t.keep(two)
	t.settleTransient(n.rateHz)
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
	t.fit.omegaSD[0], t.fit.omegaSD[1] = t.fit.omegaSD[1], t.fit.omegaSD[0]
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
// the stronger at the onset, after samples before, by vote of the pairs, each
// with its amplitude, less when its lines are hardly two bins apart.
func agreeOnMain(work []*tracked, after float64) {
	power := func(d damped) float64 { return norm(d.a) * math.Exp(2*d.decay*after) }
	var vote float64
	for _, t := range work {
		if t.paired() {
			a, b := power(t.own[0]), power(t.own[1])
			apart := math.Abs(t.own[0].omega-t.own[1].omega) * float64(t.band.n) / (4 * math.Pi)
			weight := math.Sqrt(norm(t.own[0].a)+norm(t.own[1].a)) * apart * apart / (1 + apart*apart)
			vote += weight * (a - b) / (a + b) * sign(t.own[0].omega-t.own[1].omega)
		}
	}
	for _, t := range work {
		if t.paired() && sign(t.own[0].omega-t.own[1].omega) != sign(vote) {
			t.swap()
		}
	}
}

func sign(v float64) float64 { return math.Copysign(1, v) }

// measured turns the fits into partials and drops what does not stand out.
func (n note) measured(work []*tracked, s stiffString) []partial {
	toHz := n.rateHz / (2 * math.Pi)
	var out []partial
	for _, t := range work {
		if !t.fit.ok {
			continue
		}
		d := t.own[0]
		p := partial{
			n: t.n, hz: d.omega * toHz, sdHz: t.fit.omegaSD[0] * toHz,
			decay: d.decay * n.rateHz, amplitude: 2 * cmplx.Abs(d.a),
			snrDB: 10 * math.Log10(t.fit.energy/(t.fit.rss+1e-300)),
		}
		if t.paired() {
			p.beatHz = (t.own[1].omega - d.omega) * toHz
			least := leastDecayPerS / n.rateHz
			a, b := norm(d.a)/math.Max(d.decay, least), norm(t.own[1].a)/math.Max(t.own[1].decay, least)
			p.beatShare = b / (a + b)
		}
		if p.snrDB >= leastSNRDB && p.sdHz < 0.02*p.hz && p.hz > 0 {
			out = append(out, p)
		}
	}
	settlePairs(out)
	return out
}

// settlePairs decides what pairs mean. Where their distances agree they are
// two polarisations: the main one is the pitch, and partials seen as one line
// may be either or both. Where they do not, each pair is one partial that beats
// for reasons of its own, and its middle counts.
func settlePairs(p []partial) {
	var apart []float64
	for _, q := range p {
		if q.beatHz != 0 {
			apart = append(apart, q.beatHz/q.hz)
		}
	}
	if len(apart) == 0 {
		return
	}
	slices.Sort(apart)
	middle := median(apart)
	spread := apart[3*len(apart)/4] - apart[len(apart)/4]
	agree := len(apart) >= 3 && spread < 0.4*math.Abs(middle)
	for i := range p {
		q := &p[i]
		switch {
		case q.beatHz == 0 && agree:
			q.sdHz = math.Hypot(q.sdHz, 3*middle*q.hz)
		case q.beatHz != 0 && !agree:
			q.sdHz = math.Hypot(q.sdHz, q.beatHz*math.Sqrt(q.beatShare*(1-q.beatShare)))
			q.hz += q.beatShare * q.beatHz
			q.beatHz *= 1 - q.beatShare
		}
	}
}
