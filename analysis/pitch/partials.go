package pitch

import (
	"math"
	"math/cmplx"
	"slices"
)

const (
	fitRounds   = 2  // each partial again, the others taken away
	guessBins   = 16 // on each side of a line that its decay is guessed from
	mostFitted  = 24 // partials: more add time, not accuracy
	leastBins   = 10
	leastSNRDB  = 0 // of a partial that counts, energy over what the band leaves
	reachCents  = 45
	planesReach = 0.0035 // relative, that a band takes in about its line: the other polarisation
	leastTail   = 0.02   // of the residual a bin: smaller leakage is not taken away
	decayWidths = 6      // half bandwidths of a partial that its band takes in
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

// fitted is what the partials' fits give.
type fitted struct {
	partials []partial
	planes   polarisations
	noise    float64 // left by the median partial, a sample
}

// fitPartials fits damped sinusoids to each partial of the hypothesis on the
// note from fromS on, each with the others' leakage and known hum taken away.
// A string vibrates in two planes that the bridge may tune apart: where one
// line leaves more than noise, two are fitted.
func (n note) fitPartials(h hypothesis, fromS float64, humHz []float64) fitted {
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
	n.splitAlike(&f, work, order, h.s)
	doubt := agreeOnMain(work, fromS*n.rateHz)
	out := n.measured(work, h.s)
	return fitted{out, polarisations{apart: settlePairs(out), doubt: doubt}, quietest(work, 0.5)}
}

// noise is what the fit leaves, a sample.
func (t *tracked) noise() float64 { return t.fit.rss / float64(len(t.band.x)*t.band.n) }

// quietest is the noise of the partial before which come the share of all.
func quietest(work []*tracked, share float64) float64 {
	if len(work) == 0 {
		return math.Inf(1)
	}
	noises := make([]float64, len(work))
	for i, t := range work {
		noises[i] = t.noise()
	}
	return nth(noises, int(share*float64(len(noises))))
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
		wanted = math.Max(wanted, planesReach*centre)
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
	t.keep(f.fit(t.left, t.lines(), t.reach(s, n.rateHz), math.Inf(1)))
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
			n: t.n, hz: d.omega * toHz, sdHz: t.fit.sd[0].omega * toHz,
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
	return out
}
