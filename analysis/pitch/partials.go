package pitch

import (
	"math"
	"math/cmplx"
	"slices"

	"saddlewise/analysis/signal"
)

const (
	fitRounds   = 2  // each partial again, the others taken away
	guessBins   = 16 // on each side of a line that its decay is guessed from
	mostFitted  = 24 // partials: more add time, not accuracy
	humBins     = 4  // likewise of a line of hum
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
	own       []damped // the partial, or the two lines of a beating pair, the main one first
	hum       []damped
	fit       fitResult // of own, then hum
	leaks     []leak    // of own and hum
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
	x := spectrumOf(n.y[min(int(fromS*n.rateHz), len(n.y)-1):], n.lent)
	work := n.start(h, x, humHz)
	all := append(n.humming(h.s, x, work, humHz), work...)
	order := strongestFirst(work)
	f := &n.lent.fitter
	for range fitRounds {
		for _, t := range all[:len(all)-len(work)] {
			n.refit(f, all, t, h.s)
		}
		for _, t := range order {
			n.refit(f, all, t, h.s)
		}
	}
	for _, t := range order {
		n.split(f, all, t, h.s)
	}
	n.splitAlike(f, all, order, h.s)
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
	return signal.Nth(noises, int(share*float64(len(noises))))
}

// start lays a band about each matched line and guesses decay and amplitude.
func (n note) start(h hypothesis, x spectrum, humHz []float64) []*tracked {
	var out []*tracked
	for _, m := range h.strongest(mostFitted) {
		if t := n.lay(x, m.line.hz, h.s.f0, humHz); len(t.band.x) >= 5 {
			t.n = m.n
			out = append(out, t)
		}
	}
	return out
}

// humming are the lines of hum that lie on no partial in work, and the partials
// that were no evidence because they lie on hum: what they leak counts.
func (n note) humming(s stiffString, x spectrum, work []*tracked, humHz []float64) []*tracked {
	var out []*tracked
	taken := func(list []*tracked, hz float64) bool {
		return slices.ContainsFunc(list, func(t *tracked) bool {
			return slices.ContainsFunc(t.hum, func(d damped) bool { return d.omega == n.omega(hz) })
		})
	}
	known := make(map[int]bool)
	top := 0.0
	for _, t := range work {
		known[t.n] = true
		top = math.Max(top, s.hz(t.n+1))
	}
	for _, hz := range humHz {
		k := int(math.Round(hz / s.f0))
		if hz <= 0 || hz > top || taken(work, hz) {
			continue
		}
		if k > 0 && !known[k] {
			known[k] = true
			if t := n.lay(x, s.hz(k), s.f0, humHz); len(t.band.x) >= 5 {
				out = append(out, t)
			}
		}
		if !taken(out, hz) {
			b := x.about(hz*float64(x.n)/n.rateHz, humBins)
			out = append(out, newTracked(b, nil, []damped{{omega: n.omega(hz), still: true}}))
		}
	}
	return out
}

func (n note) omega(hz float64) float64 { return 2 * math.Pi * hz / n.rateHz }

func newTracked(b band, own, hum []damped) *tracked {
	t := &tracked{band: b, own: own, hum: hum, left: b}
	t.left.x = make([]complex128, len(b.x))
	t.noteLeaks()
	return t
}

// lay lays a band about a line at hz, as wide as its decay wants it.
func (n note) lay(x spectrum, hz, f0 float64, humHz []float64) *tracked {
	perBin := n.rateHz / float64(x.n)
	centre, half := hz/perBin, 0.5*f0/perBin
	at := math.Max(guessBins, planesReach*centre)
	b := x.about(centre, math.Min(half, at))
	d := guess(b.within(centre, guessBins), n.omega(hz))
	wanted := max(leastBins, planesReach*centre, decayWidths*d.decay*float64(x.n)/(2*math.Pi))
	if wanted > at {
		b = x.about(centre, math.Min(half, wanted))
	}
	b = b.within(centre, math.Min(half, wanted))
	var hum []damped
	for _, h := range humHz {
		if math.Abs(h-hz) < float64(len(b.x))/2*perBin {
			hum = append(hum, damped{omega: n.omega(h), still: true})
		}
	}
	return newTracked(b, []damped{d}, hum)
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

func strongestFirst(work []*tracked) []*tracked {
	order := slices.Clone(work)
	slices.SortStableFunc(order, func(a, b *tracked) int {
		return compare(cmplx.Abs(b.own[0].a), cmplx.Abs(a.own[0].a))
	})
	return order
}

// refit fits a partial on what the others leave.
func (n note) refit(f *fitter, all []*tracked, t *tracked, s stiffString) {
	t.leave(all)
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
	for _, lines := range [...][]damped{t.own, t.hum} {
		for _, d := range lines {
			t.leaks = append(t.leaks, d.leak(t.band.n))
		}
	}
}

// leave takes the other partials out of the partial's band.
func (t *tracked) leave(all []*tracked) {
	copy(t.left.x, t.band.x)
	least := leastTail * math.Sqrt(t.fit.rss/float64(len(t.left.x)))
	from, to := t.left.theta(0), t.left.theta(len(t.left.x)-1)
	for _, other := range all {
		if other == t {
			continue
		}
		for _, l := range other.leaks {
			if l.heard(from, to, least) {
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
