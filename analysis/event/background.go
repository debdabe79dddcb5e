package event

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// background is what would have gone on without the event: a baseline and
// sinusoids (hum lines and partials still ringing) fitted to the samples
// before it. Time is in samples from origin.
type background struct {
	origin int64 // the first sample after the fitted window
	level  float64
	slope  float64
	lines  []line
	power  float64 // mean square of the lines over the fitted window
	rest   float64 // mean square of what the fit leaves below lineRateHz/2
	window int     // samples fitted
}

// line is one damped sinusoid, Re(amplitude * exp((growth + i omega) t)).
type line struct {
	omega, growth float64 // per sample
	amplitude     complex128
}

const (
	lineRateHz    = 5000.0 // lines above half of this are left in
	maxLines      = 12
	lineThreshold = 16.0 // power over the spectrum's median
	leastForLines = 240  // thinned samples, 48 ms; also for a slope
	weakLine      = 0.05 // of what the fit leaves: such lines are not worth taking away
)

// fitBackground fits to pre, whose samples end just before origin, and to y,
// its means of d samples each, which end there as well.
func (s *scratch) fitBackground(pre, y []float64, d int, origin int64) background {
	b := background{origin: origin, window: len(pre)}
	if len(pre) < 8 {
		return b
	}
	b.level = mean(pre)
	if len(y) >= leastForLines {
		y = b.straightened(s, y, d)
		b.fitLines(s, y[len(y)-signal.FastBelow(len(y)):], d)
	}
	return b
}

// renewed is the background at a later origin: baseline and amplitudes are
// fitted to y, frequencies and decays kept.
func (b background) renewed(s *scratch, y []float64, d int, origin int64) background {
	b.origin, b.window = origin, len(y)*d
	b.level = mean(y)
	y = b.straightened(s, y, d)
	lines := slices.Clone(b.lines)
	for i := range lines {
		lines[i].omega *= float64(d)
		lines[i].growth *= float64(d)
	}
	f := s.newFit(y)
	f.add(lines)
	f.solve()
	b.lines = f.lines
	b.fromThinned(d)
	return b
}

func thinning(rateHz float64) int { return max(1, int(rateHz/lineRateHz)) }

// straightened fits the slope to y, and is y less the baseline.
func (b *background) straightened(s *scratch, y []float64, d int) []float64 {
	m, step := float64(len(y)), float64(d)
	b.slope = slopeSum(y) / (step * m * (m*m - 1) / 12)
	b.level += b.slope * (m*step + 1) / 2
	straight := s.floats(len(y))
	for i, v := range y {
		straight[i] = v - b.level - b.slope*((float64(i)-m)*step+(step-1)/2)
	}
	return straight
}

// fitLines finds the lines that stand out of the spectrum of y and fits them
// jointly by least squares.
func (b *background) fitLines(s *scratch, y []float64, d int) {
	f := s.newFit(y)
	rest := y
	for pass := 0; pass < 2 && len(f.lines) < maxLines; pass++ {
		if pass > 0 {
			rest = s.copied(y)
			subtractLines(rest, f.lines)
		}
		found := f.strongLines(rest, maxLines-len(f.lines))
		if len(found) == 0 {
			break
		}
		if f.add(found); !f.solve() {
			break
		}
	}
	total := floats.Dot(y, y)
	b.power = min(total, max(0, f.explained)) / float64(len(y))
	b.rest = total/float64(len(y)) - b.power
	weak := weakLine * math.Sqrt(b.rest)
	b.lines = slices.DeleteFunc(f.lines, func(l line) bool { return cmplx.Abs(l.amplitude) < weak })
	b.fromThinned(d)
}

// fromThinned turns lines of thinned samples into those of samples: time
// scale, and the gain and delay of the average.
func (b *background) fromThinned(d int) {
	for i := range b.lines {
		l := &b.lines[i]
		l.omega /= float64(d)
		l.growth /= float64(d)
		x := l.omega / 2
		gain := 1.0
		if d > 1 && x > 0 {
			gain = math.Sin(float64(d)*x) / (float64(d) * math.Sin(x))
		}
		shift := cmplx.Exp(complex(l.growth, l.omega) * complex(-float64(d-1)/2, 0))
		l.amplitude *= shift / complex(gain, 0)
	}
}

// strongLines picks spectral peaks of y far above the median, strongest first,
// and estimates frequency and growth of each from the window's two halves.
func (f *fit) strongLines(y []float64, most int) []line {
	power := f.scratch.power(y)
	peaks := strongPeaks(power, lineThreshold*f.scratch.median(power), most)
	if len(peaks) == 0 {
		return nil
	}
	n, h := len(y), len(y)/2
	early, late := f.halves(y)
	lines := make([]line, len(peaks))
	for i, k := range peaks {
		lines[i] = refineLine(early, late, float64(n-h), 2*math.Pi*(float64(k)+peakOffset(power, k))/float64(n))
	}
	return lines
}

// strongPeaks are the places of the strongest peaks above the floor, strongest
// first, none within two bins of a stronger one.
func strongPeaks(power []float64, floor float64, most int) []int {
	var peaks, kept []int
	for i := 2; i < len(power)-2; i++ {
		if power[i] > floor && power[i] >= power[i-1] && power[i] >= power[i+1] {
			peaks = append(peaks, i)
		}
	}
	slices.SortStableFunc(peaks, func(a, b int) int { return cmp.Compare(power[b], power[a]) })
	for _, k := range peaks {
		beside := func(other int) bool { return max(k-other, other-k) <= 2 }
		if len(kept) < most && !slices.ContainsFunc(kept, beside) {
			kept = append(kept, k)
		}
	}
	return kept
}

// peakOffset interpolates a Hann window's peak, in bins.
func peakOffset(power []float64, i int) float64 {
	l, c, r := math.Log(power[i-1]+1e-300), math.Log(power[i]+1e-300), math.Log(power[i+1]+1e-300)
	den := l - 2*c + r
	if den >= 0 {
		return 0
	}
	return max(-0.5, min(0.5, (l-r)/(2*den)))
}

// refineLine compares phase and size of the two windowed halves a and c, which
// begin span samples apart.
func refineLine(a, c []float64, span, omega float64) line {
	l := line{omega: omega}
	z := cmplx.Exp(complex(0, omega))
	first, second := polynomial(a, z), polynomial(c, z)
	if first == 0 || second == 0 {
		return l
	}
	ratio := second / first * cmplx.Exp(complex(0, -omega*span))
	l.omega += max(-1, min(1, cmplx.Phase(ratio))) / span
	l.growth = max(-4/span, min(0, math.Log(cmplx.Abs(ratio))/span))
	if l.growth > -0.1/span {
		l.growth = 0
	}
	return l
}

// halves are the first and the last half of y, each under its window, which is
// every second value of the whole one.
func (f *fit) halves(y []float64) (early, late []float64) {
	n, h, window := len(y), len(y)/2, f.scratch.window(len(y))
	early, late = f.scratch.floats(h), f.scratch.floats(h)
	for i := range early {
		w := window[2*i]
		early[i], late[i] = w*y[i], w*y[n-h+i]
	}
	return early, late
}

// fit is a joint fit of lines to y by least squares. Time runs from the
// window's end, so the last sample is at -1.
type fit struct {
	scratch   *scratch
	y         []float64
	lines     []line
	tails     []tail
	products  []float64 // of y with each line's cosine and sine
	explained float64   // sum of squares of the lines
}

func (s *scratch) newFit(y []float64) fit {
	return fit{scratch: s, y: y, lines: make([]line, 0, maxLines), tails: make([]tail, 0, maxLines), products: s.floats(2 * maxLines)[:0]}
}

func (f *fit) add(lines []line) {
	f.lines = append(f.lines, lines...)
	for _, l := range lines {
		z := cmplx.Exp(complex(-l.growth, -l.omega)) // one sample back in time
		f.tails = append(f.tails, tail{z, cmplx.Exp(complex(-l.growth, -l.omega) * complex(float64(len(f.y)), 0))})
		sum := polynomial(f.y, z) * z
		f.products = append(f.products, real(sum), imag(sum))
	}
}

// solve finds all amplitudes at once; where that cannot be done it leaves no line.
func (f *fit) solve() bool {
	n := len(f.products)
	gram := f.scratch.floats(n * n)
	for i, a := range f.tails {
		for j, b := range f.tails[i:] {
			a.overlap(b, len(f.y), gram[2*i*n+2*(i+j):], n)
		}
	}
	for i := range n {
		gram[i*n+i] = gram[i*n+i]*(1+1e-9) + 1e-12
	}
	found := f.scratch.copied(f.products)
	if !solve(gram, found) {
		f.lines, f.explained = nil, 0
		return false
	}
	for j := range f.lines {
		f.lines[j].amplitude = complex(found[2*j], -found[2*j+1])
	}
	f.explained = floats.Dot(found, f.products)
	return true
}

// at is the line t samples after the window's end.
func (l line) at(t float64) complex128 {
	return l.amplitude * cmplx.Exp(complex(l.growth*t, l.omega*t))
}

// forth is the factor of one sample onwards.
func (l line) forth() complex128 { return cmplx.Exp(complex(l.growth, l.omega)) }

// tail is a line seen backwards from the window's end: the factor of one
// sample and of the whole window.
type tail struct{ one, whole complex128 }

// overlap sets the inner products of two lines' cosines and sines over
// n samples, from the two geometric series that their product is made of, in a
// matrix of the given stride.
func (a tail) overlap(b tail, n int, gram []float64, stride int) {
	sum := geometric(a.one*b.one, a.whole*b.whole, n)
	diff := geometric(a.one*cmplx.Conj(b.one), a.whole*cmplx.Conj(b.whole), n)
	gram[0] = (real(diff) + real(sum)) / 2
	gram[1] = (imag(sum) - imag(diff)) / 2
	gram[stride] = (imag(sum) + imag(diff)) / 2
	gram[stride+1] = (real(diff) - real(sum)) / 2
}

// geometric is z + z^2 + ... + z^n, of which last is z^n.
func geometric(z, last complex128, n int) complex128 {
	rest := 1 - z
	size := real(rest)*real(rest) + imag(rest)*imag(rest)
	if size < 1e-18 {
		return complex(float64(n), 0)
	}
	return z * (1 - last) * cmplx.Conj(rest) * complex(1/size, 0)
}

// subtractLines takes lines away from y, which ends at their time 0.
func subtractLines(y []float64, lines []line) {
	for _, l := range lines {
		subtractSinusoid(y, l.at(-float64(len(y))), l.forth())
	}
}

// subtract takes the background away from x, which holds means of d samples
// each, the first of them from index first of the take on. Lines go on
// decaying; the slope stops after half as long as it was seen.
func (bg *background) subtract(x []float64, first int64, d int) {
	if bg.window == 0 {
		return
	}
	t := float64(first - bg.origin)
	middle := t + float64(d-1)/2
	for i := range x {
		x[i] -= bg.level + bg.slope*min(middle+float64(i*d), float64(bg.window)/2)
	}
	for _, l := range bg.lines {
		z, mean, step := l.forth(), complex128(0), complex128(1)
		for range d {
			mean, step = mean+step/complex(float64(d), 0), step*z
		}
		subtractSinusoid(x, l.at(t)*mean, step)
	}
}
