package pitch

import (
	"fmt"
	"math"
	"slices"
)

const (
	anchorLines     = 10    // strongest lines that may be any partial
	anchorPartial   = 20    // highest partial a strong line may be
	mostPartials    = 40    // partials looked at
	extraneous      = 0.006 // weak lines that no string makes, per Hz, at least
	missChance      = 0.08  // of a partial within reach that does not sound: plucked or picked up at its node
	stray           = 0.03  // partials that lie further off
	leastScore      = 7     // log likelihood ratio against chance
	hopeless        = 0.4   // share of the best score that a string's gains must reach to be looked at closely
	sureLineSNRDB   = 20    // noise of a few seconds reaches 13
	leastMargin     = 1.5   // against another string
	sameStringCents = 80
	orderCost       = 1.5 // chance of partial n to be the strongest: n to the power of minus this
	loudCostPerDB   = 0.2
	scatterCents    = 4 // of real partials about the formula
)

// stiffnesses are the starting values of B that are tried.
var stiffnesses = [...]float64{0, 3e-5, 8e-5, 1.6e-4, 3e-4, 5.5e-4, 9e-4, 1.4e-3, 2.2e-3}

// hypothesis is a string with the lines it explains.
type hypothesis struct {
	s       stiffString
	score   float64 // log likelihood ratio against "no string"
	matches []match
}

// convincing tells whether noise cannot make it: it scores too high, or one of
// its lines stands too far out.
func (h hypothesis) convincing() bool {
	var top float64
	for _, m := range h.matches {
		top = math.Max(top, m.line.snrDB)
	}
	return h.score >= leastScore || h.score > 0 && top >= sureLineSNRDB
}

// coarse takes the lines as they stand for partials: where vibrato or an
// ensemble makes no damped sinusoid of any, the pitch is their middle, known
// to about the spread.
func (h hypothesis) coarse(spreadCents float64) []partial {
	var out []partial
	for _, m := range h.matches {
		out = append(out, partial{n: m.n, hz: m.line.hz, snrDB: m.line.snrDB,
			sdHz:      math.Hypot(0.5*m.line.binHz, m.line.hz*spreadCents*math.Ln2/1200),
			amplitude: math.Pow(10, m.line.levelDB/20)})
	}
	return out
}

// reduced renumbers partials that are all multiples of one number: nothing of
// the lower string is left then.
func (h hypothesis) reduced(p []partial) hypothesis {
	common := 0
	for _, q := range p {
		common = divisor(q.n, common)
	}
	if common < 2 {
		return h
	}
	k := float64(common)
	for i := range p {
		p[i].n /= common
	}
	h.s = stiffString{f0: k * h.s.f0, b: h.s.b * k * k}
	return h
}

// divisor is the greatest common divisor.
func divisor(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

type match struct {
	n    int
	line *line
}

// chooseString finds the string that explains the lines best, unless the lines
// could come about by chance or another string explains them as well.
func chooseString(lines []line, o Options, topHz float64) (hypothesis, error) {
	ranked := rank(lines, o, topHz)
	if len(ranked) == 0 || !ranked[0].convincing() {
		return hypothesis{}, fmt.Errorf("%w: no string between %.0f and %.0f Hz explains what sounds", ErrNoPitch, o.MinHz, o.MaxHz)
	}
	best := ranked[0]
	for _, h := range ranked[1:] {
		if math.Abs(cents(h.s.hz(1)/best.s.hz(1))) > sameStringCents && best.score-h.score < leastMargin {
			return hypothesis{}, fmt.Errorf("%w: strings of %.1f and %.1f Hz explain it equally well", ErrNoPitch, best.s.hz(1), h.s.hz(1))
		}
	}
	return best, nil
}

// rank scores every hypothesis coarsely, then refines and scores the best.
func rank(lines []line, o Options, topHz float64) []hypothesis {
	sc := newScorer(lines, topHz)
	var all []hypothesis
	for _, s := range guesses(lines, o) {
		if score := sc.score(s, nil); score > 0 {
			all = append(all, hypothesis{s: s, score: score})
		}
	}
	slices.SortFunc(all, func(a, b hypothesis) int { return compare(b.score, a.score) })
	var out []hypothesis
	for _, h := range distinct(all, 12) {
		for range 3 {
			h.matches = h.matches[:0]
			h.score = sc.score(h.s, &h.matches)
			before := h.s
			if h.s = refine(before, h.matches); h.s.near(before) {
				break
			}
		}
		h.matches = h.matches[:0]
		h.score = sc.score(h.s, &h.matches)
		if f1 := h.s.hz(1); f1 >= o.MinHz && f1 <= o.MaxHz && len(h.matches) > 0 {
			out = append(out, h)
		}
	}
	slices.SortFunc(out, func(a, b hypothesis) int { return compare(b.score, a.score) })
	return out
}

// guesses takes each strong line for each partial of strings of each stiffness.
func guesses(lines []line, o Options) []stiffString {
	strong := slices.Clone(lines)
	slices.SortFunc(strong, func(a, b line) int { return compare(b.levelDB, a.levelDB) })
	strong = strong[:min(len(strong), anchorLines)]
	out := make([]stiffString, 0, len(stiffnesses)*len(strong)*anchorPartial)
	for _, b := range stiffnesses {
		for _, l := range strong {
			for n := 1; n <= anchorPartial; n++ {
				s := stiffString{f0: l.hz / stiffString{1, b}.hz(n), b: b}
				if f1 := s.hz(1); f1 >= 0.98*o.MinHz && f1 <= 1.02*o.MaxHz {
					out = append(out, s)
				}
			}
		}
	}
	return out
}

// distinct drops hypotheses within 30 cents of a better one, B alike.
func distinct(all []hypothesis, most int) []hypothesis {
	var out []hypothesis
	for _, h := range all {
		same := slices.ContainsFunc(out, func(g hypothesis) bool {
			return math.Abs(cents(h.s.f0/g.s.f0)) < 30 && math.Abs(h.s.b-g.s.b) < 2e-4
		})
		if !same {
			out = append(out, h)
		}
		if len(out) == most {
			break
		}
	}
	return out
}

// scorer weighs strings against the lines of one spectrum.
type scorer struct {
	lines   []line
	likely  []uint8 // by cell of the spectrum: one more than the line meant by a partial there, 0 none
	perHz   float64 // cells
	topHz   float64
	b       float64                   // stiffness of the string in work
	stretch [mostPartials + 1]float64 // of its partials, re f0
	rest    []float64                 // that lines about and above so many cells can gain together
	level   []float64                 // of partials 1.., NaN where missed
	gain    []float64                 // of partials found, 0 where none or hum
	line    []*line                   // of partials found
	top     []float64                 // envelope of level
	levels  []float64                 // of lines that are no hum, the strongest first
	best    float64                   // score so far
}

const (
	cellsPerBin  = 2
	cellsPerRest = 64

	_ uint8 = maxLines // so that a cell holds any line
)

func newScorer(lines []line, topHz float64) *scorer {
	const n = mostPartials + 1
	sc := &scorer{lines: lines, topHz: topHz,
		level: make([]float64, n), gain: make([]float64, n), line: make([]*line, n), top: make([]float64, n)}
	for _, l := range lines {
		if !l.hum {
			sc.levels = append(sc.levels, l.levelDB)
		}
	}
	slices.SortFunc(sc.levels, func(a, b float64) int { return compare(b, a) })
	sc.setChances()
	sc.stiffen(0)
	sc.perHz = cellsPerBin / lines[0].binHz
	sc.likely = make([]uint8, sc.cell(topHz)+1)
	sc.rest = make([]float64, len(sc.likely)/cellsPerRest+2)
	for k := range lines {
		sc.place(k)
	}
	for i := len(sc.rest) - 2; i >= 0; i-- {
		sc.rest[i] += sc.rest[i+1]
	}
	return sc
}

func (sc *scorer) cell(hz float64) int { return int(hz * sc.perHz) }

// place notes line k where it is the one that is most likely meant, strong and
// near, and at the end of its reach what it can gain.
func (sc *scorer) place(k int) {
	l := &sc.lines[k]
	last := min(sc.cell(l.hz+l.reach), len(sc.likely)-1)
	for i := max(0, sc.cell(l.hz-l.reach)); i <= last; i++ {
		hz, now := (float64(i)+0.5)/sc.perHz, sc.likely[i]
		if now == 0 || l.meant(hz) > sc.lines[now-1].meant(hz) {
			sc.likely[i] = uint8(k + 1)
		}
	}
	sc.rest[last/cellsPerRest] += max(0, l.fits-l.logChance)
}

// meant tells, as a logarithm, how likely the line is the partial due at hz.
func (l *line) meant(hz float64) float64 {
	z := (hz - l.hz) / l.sd
	return l.snrDB*(math.Ln10/20) - min(z*z/2, 6)
}

// score is the log likelihood ratio of the string against lines at random:
// each partial found gains by how well it fits and how unlikely a line so
// strong is there by chance; partials weaker than their neighbours, or missed
// altogether, cost the chance of that. Partials count up to where the sum is
// highest: above, the string may be silent.
func (sc *scorer) score(s stiffString, matches *[]match) float64 {
	last := sc.find(s)
	if last == 0 {
		return 0
	}
	var total, best float64
	sc.envelope(last)
	end := 0
	for n := 1; n <= last; n++ {
		if total += sc.gain[n] - sc.weakness(n); total > best {
			best, end = total, n
		}
	}
	loudest, order := math.Inf(-1), 1
	for n := 1; n <= end; n++ {
		if sc.gain[n] == 0 {
			continue
		}
		l := sc.line[n]
		if l.levelDB > loudest {
			loudest, order = l.levelDB, n
		}
		if matches != nil {
			*matches = append(*matches, match{n, l})
		}
	}
	best -= sc.overheard(loudest) + orderCost*math.Log(float64(order))
	sc.best = math.Max(sc.best, best)
	return best
}

// find looks for the lines of all partials and returns the last one found, 0
// as soon as it is clear that they gain too little.
func (sc *scorer) find(s stiffString) (last int) {
	if s.b != sc.b {
		sc.stiffen(s.b)
	}
	most := 0.3 * s.f0 // Hz off, at most
	astray := math.Log(stray / (2 * most))
	highest := min(1.02*s.f0*sc.stretch[mostPartials], sc.topHz)
	gained, enough := 0.0, hopeless*sc.best+sc.rest[sc.cell(highest)/cellsPerRest+1]
	for n := 1; n <= mostPartials; n++ {
		hz := s.f0 * sc.stretch[n]
		if hz > sc.topHz {
			break
		}
		i := sc.cell(hz)
		if gained+sc.rest[i/cellsPerRest] < enough {
			return 0
		}
		sc.level[n], sc.gain[n] = math.NaN(), 0
		if k := sc.likely[i]; k > 0 && sc.look(&sc.lines[k-1], hz, most, astray, n) {
			last = n
			gained += sc.gain[n]
		}
	}
	if gained < hopeless*sc.best {
		return 0
	}
	return last
}

func (sc *scorer) stiffen(b float64) {
	sc.b = b
	for n := range sc.stretch {
		sc.stretch[n] = stiffString{1, b}.hz(n)
	}
}

// look tells whether l may be partial n, within reach and most Hz, and what that
// gains. Lines that may be hum say nothing either way.
func (sc *scorer) look(l *line, hz, most, astray float64, n int) bool {
	off := math.Abs(hz - l.hz)
	if off > min(l.reach, most) {
		return false
	}
	gain := 0.0
	if !l.hum {
		z := off / l.sd
		gain = l.fits - z*z/2
		if z > 2 || most < l.sd { // near partials are never the stray ones
			gain = max(gain, l.astray, astray)
		}
		if gain -= l.logChance; gain <= 0 {
			return false // no better than chance
		}
	}
	sc.line[n], sc.level[n], sc.gain[n] = l, l.snrDB, gain
	return true
}

// setChances works out how lines lie about partials, and estimates how many
// lines as strong, per Hz, no string makes: as many as there are around it, and
// ten times fewer for each 20 dB from 60 dB below the strongest on.
func (sc *scorer) setChances() {
	const aroundHz = 80
	from, loudest := 0, math.Inf(-1)
	if len(sc.levels) > 0 {
		loudest = sc.levels[0]
	}
	for i := range sc.lines {
		l := &sc.lines[i]
		bin, scatter := 0.25*l.binHz, l.hz*(scatterCents*math.Ln2/1200)
		l.sd = math.Sqrt(bin*bin + scatter*scatter)
		l.reach = math.Max(1.2*l.binHz, 4*l.sd)
		l.fits = math.Log((1 - stray) / math.Sqrt(2*math.Pi) / l.sd)
		l.astray = math.Log(stray / (2 * l.reach))
		for sc.lines[from].hz < l.hz-aroundHz {
			from++
		}
		count := 0.0
		for _, o := range sc.lines[from:] {
			if o.hz > l.hz+aroundHz {
				break
			}
			if o.levelDB > l.levelDB-3 {
				count++
			}
		}
		above := math.Max(0, math.Min(l.snrDB-minLineSNRDB, l.levelDB-loudest+60))
		l.logChance = math.Log(math.Max(extraneous, count/(2*aroundHz))) - above*math.Ln10/40
	}
}

// overheard is the cost of lines stronger than all that the string explains:
// the note is what was played loudest. Since a string that explains the
// strongest line pays nothing, only strings that miss it are looked at closely.
func (sc *scorer) overheard(loudest float64) float64 {
	var cost float64
	for _, l := range sc.levels {
		if l <= loudest+3 {
			break
		}
		cost += loudCostPerDB * (l - loudest - 3)
	}
	return cost
}

// weakness is the cost of partial n missed or far weaker than its neighbours.
func (sc *scorer) weakness(n int) float64 {
	const usualDB, silentDB = 4, 4
	below, costs := sc.top[n]-usualDB-sc.level[n], &weakCosts
	if math.IsNaN(below) {
		below, costs = sc.top[n]-usualDB-silentDB, &missedCosts
	}
	if below <= 0 {
		return 0
	}
	return costs[min(n, 3)-1][min(int(below*costsPerDB), len(costs[0])-1)]
}

const (
	costsPerDB = 10
	spreadDB   = 8 // of partials about their neighbours
)

// What a partial so many dB below costs: found, and missed.
var (
	weakCosts   = costsOf(func(db float64) float64 { return math.Exp(-db * db / (2 * spreadDB * spreadDB)) })
	missedCosts = costsOf(func(db float64) float64 { return math.Erfc(db / (spreadDB * math.Sqrt2)) })
)

// costsOf is by partial, the third and higher alike, and by level. Low partials
// are often weak: small bodies and loaded discs pass them badly.
func costsOf(likely func(db float64) float64) (costs [3][5 * spreadDB * costsPerDB]float64) {
	for n, chance := range [...]float64{2 * missChance, 2 * missChance, missChance} {
		for i := range costs[n] {
			costs[n][i] = -math.Log(chance + (1-chance)*likely((float64(i)+0.5)/costsPerDB))
		}
	}
	return costs
}

// perPartialDB is the slope of the envelope, from partial n to n+1.
var perPartialDB = func() (fall [mostPartials + 2]float64) {
	const perOctaveDB = 14
	for n := 1; n < len(fall); n++ {
		fall[n] = perOctaveDB * math.Log2(float64(n+1)/float64(n))
	}
	return fall
}()

// envelope draws a level over the partials that falls by an octave's slope from
// each that sounds, both ways.
func (sc *scorer) envelope(last int) {
	level := math.Inf(-1)
	for n := 1; n <= last; n++ {
		if level -= perPartialDB[n-1]; sc.level[n] > level {
			level = sc.level[n]
		}
		sc.top[n] = level
	}
	level = math.Inf(-1)
	for n := last; n >= 1; n-- {
		if level -= perPartialDB[n]; sc.level[n] > level {
			level = sc.level[n]
		}
		sc.top[n] = max(sc.top[n], level)
	}
}

// refine fits f0 and B to the matches, near the string they came from.
func refine(s stiffString, matches []match) stiffString {
	p := make([]partial, 0, len(matches))
	for _, m := range matches {
		p = append(p, partial{n: m.n, hz: m.line.hz, sdHz: 0.25 * m.line.binHz})
	}
	fit, ok := fitString(p, s)
	if !ok || math.Abs(cents(fit.s.f0/s.f0)) > 60 {
		return s
	}
	return fit.s
}
