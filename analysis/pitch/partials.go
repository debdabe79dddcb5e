package pitch

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	fitRounds   = 3   // each partial again, the others taken away
	widestBins  = 120 // of a band on each side
	leastBins   = 10
	leastSNRDB  = 6 // of a partial that counts, energy over what the band leaves
	reachCents  = 45
	decayWidths = 6 // half bandwidths of a partial that its band takes in
)

// tracked is one partial in work.
type tracked struct {
	n     int
	band  band
	lines []damped // first the partial, then hum
	fit   fitResult
}

// fitPartials fits a damped sinusoid to each partial of the hypothesis on the
// note from fromS on, each with the others' leakage and known hum taken away.
func (n note) fitPartials(h hypothesis, fromS float64, humHz []float64) []partial {
	y := n.y[min(int(fromS*n.rateHz), len(n.y)-1):]
	y = y[:smoothLength(len(y))]
	x := fourier.NewFFT(len(y)).Coefficients(nil, y)
	work := n.start(h, x, len(y), humHz)
	order := strongestFirst(work)
	for range fitRounds {
		for _, i := range order {
			n.refit(work, i, h.s)
		}
	}
	return n.measured(work, h.s)
}

// start lays a band about each matched line and guesses decay and amplitude.
func (n note) start(h hypothesis, x []complex128, size int, humHz []float64) []*tracked {
	perBin := n.rateHz / float64(size)
	var out []*tracked
	for _, m := range h.matches {
		centre := m.line.hz / perBin
		half := min(0.5*h.s.f0/perBin, widestBins)
		b := cutBand(x, size, centre, half)
		d := guess(b, 2*math.Pi*m.line.hz/n.rateHz)
		wanted := math.Max(leastBins, decayWidths*d.decay*float64(size)/(2*math.Pi))
		b = cutBand(x, size, centre, math.Min(half, wanted))
		if len(b.x) < 5 {
			continue
		}
		t := &tracked{n: m.n, band: b, lines: []damped{d}}
		for _, hz := range humHz {
			if math.Abs(hz-m.line.hz) < float64(len(b.x))/2*perBin {
				t.lines = append(t.lines, damped{omega: 2 * math.Pi * hz / n.rateHz, still: true})
			}
		}
		out = append(out, t)
	}
	return out
}

func cutBand(x []complex128, size int, centre, half float64) band {
	low := max(1, int(math.Ceil(centre-half)))
	high := min(len(x)-2, int(math.Floor(centre+half)))
	if high < low {
		return band{n: size, low: low}
	}
	return band{n: size, low: low, x: x[low : high+1]}
}

// guess tries decays from slow to fast and keeps what explains most.
func guess(b band, omega float64) damped {
	best, most := damped{omega: omega}, -1.0
	for _, perNote := range [...]float64{0.2, 1, 3, 8, 20, 50} {
		d := damped{omega: omega, decay: perNote / float64(b.n)}
		var cross complex128
		var power float64
		d.each(b, func(i int, s, _, _, _ complex128) {
			cross += b.x[i] * cmplx.Conj(s)
			power += real(s)*real(s) + imag(s)*imag(s)
		})
		if explained := real(cross*cmplx.Conj(cross)) / power; explained > most {
			d.a = cross / complex(power, 0)
			best, most = d, explained
		}
	}
	return best
}

func strongestFirst(work []*tracked) []int {
	order := make([]int, len(work))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		return compare(cmplx.Abs(work[j].lines[0].a), cmplx.Abs(work[i].lines[0].a))
	})
	return order
}

// refit fits partial i on what the others leave.
func (n note) refit(work []*tracked, i int, s stiffString) {
	t := work[i]
	left := band{n: t.band.n, low: t.band.low, x: slices.Clone(t.band.x)}
	for j, other := range work {
		if j != i && len(other.lines) > 0 {
			other.lines[0].add(left.x, left, -1)
		}
	}
	perBin := 2 * math.Pi / float64(t.band.n)
	omega := 2 * math.Pi * s.hz(t.n) / n.rateHz
	shift := math.Max(2*perBin, omega*reachCents*math.Ln2/1200)
	t.fit = fitDamped(left, t.lines, shift)
	t.lines = t.fit.lines
}

// measured turns the fits into partials and drops what does not stand out.
func (n note) measured(work []*tracked, s stiffString) []partial {
	var out []partial
	for _, t := range work {
		if !t.fit.ok {
			continue
		}
		d := t.lines[0]
		p := partial{
			n: t.n, hz: d.omega * n.rateHz / (2 * math.Pi), sdHz: t.fit.omegaSD[0] * n.rateHz / (2 * math.Pi),
			decay: d.decay * n.rateHz, amplitude: 2 * cmplx.Abs(d.a),
			snrDB: 10 * math.Log10(t.fit.energy/(t.fit.rss+1e-300)),
		}
		if p.snrDB >= leastSNRDB && p.sdHz < 0.02*p.hz && p.hz > 0 {
			out = append(out, p)
		}
	}
	return out
}
