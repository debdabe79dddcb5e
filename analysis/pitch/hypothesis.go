package pitch

import (
	"fmt"
	"math"
	"slices"
)

const (
	anchorLines   = 10   // strongest lines that may be any partial
	anchorPartial = 20   // highest partial a strong line may be
	mostPartials  = 40   // partials looked at
	extraneous    = 0.01 // weak lines that no string makes, per Hz
	missChance    = 0.08 // of a partial within reach that does not sound: plucked or picked up at its node
	scatterCents  = 4    // of real partials about the formula
)

// stiffnesses are the starting values of B that are tried.
var stiffnesses = [...]float64{0, 3e-5, 8e-5, 1.6e-4, 3e-4, 5.5e-4, 9e-4, 1.4e-3, 2.2e-3}

// hypothesis is a string with the lines it explains.
type hypothesis struct {
	s       stiffString
	score   float64 // log likelihood ratio against "no string"
	matches []match
}

type match struct {
	n    int
	line line
}

// chooseString finds the string that explains the lines best.
func chooseString(lines []line, o Options, topHz float64) (hypothesis, error) {
	ranked := rank(lines, o, topHz)
	if len(ranked) == 0 {
		return hypothesis{}, fmt.Errorf("%w: no partial between %.0f and %.0f Hz fits a string", ErrNoPitch, o.MinHz, o.MaxHz)
	}
	return ranked[0], nil
}

// rank scores every hypothesis coarsely, then refines and scores the best.
func rank(lines []line, o Options, topHz float64) []hypothesis {
	sc := newScorer(lines, topHz)
	var all []hypothesis
	for _, s := range guesses(lines, o) {
		all = append(all, hypothesis{s: s, score: sc.score(s, nil)})
	}
	slices.SortFunc(all, func(a, b hypothesis) int { return compare(b.score, a.score) })
	var out []hypothesis
	for _, h := range distinct(all, 12) {
		for range 3 {
			h.matches = h.matches[:0]
			h.score = sc.score(h.s, &h.matches)
			h.s = refine(h.s, h.matches)
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
	var out []stiffString
	for _, l := range strong[:min(len(strong), anchorLines)] {
		for n := 1; n <= anchorPartial; n++ {
			k := float64(n)
			for _, b := range stiffnesses {
				s := stiffString{f0: l.hz / (k * math.Sqrt(1+b*k*k)), b: b}
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
	lines []line
	topHz float64
	binHz float64
	level []float64 // of partials 1.., NaN where missed
	floor float64
}

func newScorer(lines []line, topHz float64) *scorer {
	sc := &scorer{lines: lines, topHz: topHz, level: make([]float64, mostPartials+1)}
	if len(lines) > 0 {
		sc.binHz = lines[0].binHz
	}
	return sc
}

// nearest is the index of the line nearest to hz.
func (sc *scorer) nearest(hz float64) int {
	i, _ := slices.BinarySearchFunc(sc.lines, hz, func(l line, hz float64) int { return compare(l.hz, hz) })
	if i == len(sc.lines) || i > 0 && hz-sc.lines[i-1].hz < sc.lines[i].hz-hz {
		i--
	}
	return i
}

// score is the log likelihood ratio of the string against lines at random:
// each partial found gains by how well it fits and how unlikely a line so
// strong is there by chance; each partial missed between others that sound
// costs the chance that it does not.
func (sc *scorer) score(s stiffString, matches *[]match) float64 {
	var total float64
	last := 0
	for n := 1; n <= mostPartials; n++ {
		hz := s.hz(n)
		if hz > sc.topHz {
			break
		}
		sc.level[n] = math.NaN()
		l := sc.lines[sc.nearest(hz)]
		sd := math.Hypot(0.25*sc.binHz, hz*scatterCents*math.Ln2/1200)
		reach := min(max(1.2*sc.binHz, 6*sd), 0.3*s.f0)
		miss := math.Abs(l.hz - hz)
		if miss > reach {
			continue
		}
		sc.level[n], last = l.snrDB, n
		if l.hum {
			continue
		}
		z := miss / sd
		density := 0.85*math.Exp(-z*z/2)/(sd*math.Sqrt(2*math.Pi)) + 0.15/(2*reach)
		chance := extraneous * math.Exp(-(l.snrDB-minLineSNRDB)*math.Ln10/40)
		total += math.Log(density / chance)
		if matches != nil {
			*matches = append(*matches, match{n, l})
		}
	}
	return total - sc.missing(last)
}

// missing is the cost of the partials below the last that do not sound.
func (sc *scorer) missing(last int) float64 {
	var cost float64
	below := math.NaN()
	for n := 1; n < last; n++ {
		if !math.IsNaN(sc.level[n]) {
			below = sc.level[n]
			continue
		}
		above := math.NaN()
		for m := n + 1; m <= last && math.IsNaN(above); m++ {
			above = sc.level[m]
		}
		expect, chance := above-8, 2*missChance
		if !math.IsNaN(below) {
			expect, chance = (above+below)/2, missChance
		}
		silent := 0.5 * math.Erfc((expect-minLineSNRDB)/(10*math.Sqrt2))
		cost -= math.Log(chance + (1-chance)*silent)
	}
	return cost
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
