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
	leastForLines = 240  // thinned samples, 48 ms
	weakLine      = 0.05 // of what the fit leaves: such lines are not worth taking away
)

// fitBackground fits to pre, whose samples end just before origin.
func fitBackground(pre []float64, origin int64, rateHz float64) background {
	b := background{origin: origin, window: len(pre)}
	if len(pre) < 8 {
		return b
	}
	b.fitBaseline(pre, rateHz)
	d := thinning(rateHz)
	if y := b.thinned(pre, d); len(y) >= leastForLines {
		b.fitLines(y[len(y)-signal.FastBelow(len(y)):], d)
	}
	return b
}

func thinning(rateHz float64) int { return max(1, int(rateHz/lineRateHz)) }

// renewed is the background at a later origin: baseline and amplitudes are
// fitted to pre, whose samples end there, frequencies and decays kept.
func (b background) renewed(pre []float64, origin int64, rateHz float64) background {
	lines := b.lines
	b.origin, b.window, b.lines = origin, len(pre), nil
	if len(pre) < 8 {
		return b
	}
	b.fitBaseline(pre, rateHz)
	d := thinning(rateHz)
	y := b.thinned(pre, d)
	if len(y) < leastForLines || len(lines) == 0 {
		return b
	}
	for _, l := range lines {
		b.lines = append(b.lines, line{omega: l.omega * float64(d), growth: l.growth * float64(d)})
	}
	b.lines = solveLines(y, b.lines)
	b.fromThinned(d)
	return b
}

// fitBaseline takes the mean, and with enough samples the slope.
func (b *background) fitBaseline(pre []float64, rateHz float64) {
	n := float64(len(pre))
	b.level, b.slope = floats.Sum(pre)/n, 0
	if n > 0.05*rateHz {
		b.slope = slopeSum(pre) / (n * (n*n - 1) / 12)
		b.level += b.slope * (n + 1) / 2
	}
}

// thinned is pre less the baseline, every d samples averaged into one, the
// last ending at the window's end.
func (b *background) thinned(pre []float64, d int) []float64 {
	n := len(pre) / d
	off := len(pre) - n*d
	y := make([]float64, n)
	for i := range y {
		at := off + i*d
		sum := 0.0
		for _, v := range pre[at : at+d] {
			sum += v
		}
		y[i] = sum/float64(d) - b.level - b.slope*(float64(at-len(pre))+float64(d-1)/2)
	}
	return y
}

// fitLines finds the lines that stand out of the spectrum of y and fits them
// jointly by least squares.
func (b *background) fitLines(y []float64, d int) {
	for pass := 0; pass < 2 && len(b.lines) < maxLines; pass++ {
		rest := y
		if len(b.lines) > 0 {
			rest = subtractLines(y, b.lines)
		}
		found := strongLines(rest, maxLines-len(b.lines))
		if len(found) == 0 {
			break
		}
		b.lines = solveLines(y, append(b.lines, found...))
	}
	left := subtractLines(y, b.lines)
	b.rest = floats.Dot(left, left) / float64(len(y))
	b.power = max(0, floats.Dot(y, y)/float64(len(y))-b.rest)
	weak := weakLine * math.Sqrt(b.rest)
	b.lines = slices.DeleteFunc(b.lines, func(l line) bool { return cmplx.Abs(l.amplitude) < weak })
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

// strongLines picks spectral peaks far above the median, strongest first, and
// estimates frequency and growth of each from the window's two halves.
func strongLines(y []float64, most int) []line {
	n := len(y)
	z := windowed(y, signal.Hann(n).Coefficients)
	coeff := signal.Transform(z)
	power := make([]float64, len(coeff))
	for i, c := range coeff {
		power[i] = real(c)*real(c) + imag(c)*imag(c)
	}
	var lines []line
	half := signal.Hann(n / 2).Coefficients
	early, late := windowed(y, half), windowed(y[n-len(half):], half)
	for _, k := range strongPeaks(power, most) {
		lines = append(lines, refineLine(early, late, float64(n-len(half)), 2*math.Pi*(float64(k)+peakOffset(power, k))/float64(n)))
	}
	return lines
}

// strongPeaks are the places of the strongest peaks above the threshold,
// strongest first, none within two bins of a stronger one.
func strongPeaks(power []float64, most int) []int {
	floor := lineThreshold * median(power)
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

// windowed is y under the window w.
func windowed(y, w []float64) []float64 {
	z := make([]float64, len(w))
	for i := range z {
		z[i] = y[i] * w[i]
	}
	return z
}

// solveLines fits all amplitudes at once; time runs from the window's end, so
// sample n-1 is at -1.
func solveLines(y []float64, lines []line) []line {
	k := len(lines)
	gram, rhs := make([]float64, 4*k*k), make([]float64, 2*k)
	all := make([]tail, k)
	for i, l := range lines {
		z := cmplx.Exp(complex(-l.growth, -l.omega)) // one sample back in time
		all[i] = tail{z, cmplx.Exp(complex(-l.growth, -l.omega) * complex(float64(len(y)), 0))}
		sum := polynomial(y, z) * z
		rhs[2*i], rhs[2*i+1] = real(sum), imag(sum)
	}
	for i, a := range all {
		for j, b := range all[i:] {
			a.overlap(b, len(y), gram[2*i*2*k+2*(i+j):], 2*k)
		}
	}
	for i := range 2 * k {
		gram[i*2*k+i] = gram[i*2*k+i]*(1+1e-9) + 1e-12
	}
	if !solve(gram, rhs) {
		return nil
	}
	for j := range lines {
		lines[j].amplitude = complex(rhs[2*j], -rhs[2*j+1])
	}
	return lines
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

func subtractLines(y []float64, lines []line) []float64 {
	rest := slices.Clone(y)
	for _, l := range lines {
		subtractSinusoid(rest, l.at(-float64(len(y))), l.forth())
	}
	return rest
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
