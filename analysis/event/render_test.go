package event

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures"
)

// bench is a random pickup at a random input: what all taps of a take share.
type bench struct {
	rate       float64
	cornerHz   float64 // of the input
	sign       float64
	modesHz    []float64
	modesT60   []float64
	modesGain  []float64
	direct     float64
	crossDelay float64 // s
	crossGain  float64
	shape      int
	contactS   float64
	stringHz   float64 // left undamped, 0: damped
	stringGain float64
	stringT60  float64
}

func randomBench(r *rand.Rand, rate float64) bench {
	b := bench{rate: rate, cornerHz: 2 * math.Pow(100, r.Float64()), sign: 1, direct: 1,
		crossDelay: 5e-5 + 4e-4*r.Float64(), crossGain: math.Pow(10, -15.0/20),
		shape: r.IntN(3), contactS: 0.0005 * math.Pow(6, r.Float64())}
	if r.IntN(2) == 0 {
		b.sign = -1
	}
	if r.IntN(2) == 0 {
		b.crossGain = -b.crossGain
	}
	against := 0.5
	for range 2 + r.IntN(5) {
		b.modesHz = append(b.modesHz, 120*math.Pow(25, r.Float64()))
		b.modesT60 = append(b.modesT60, 0.03+0.2*r.Float64())
		g := 0.5 * r.Float64()
		// Modes may work against the contact but not overcome it: the
		// quasi-static response of a disc under its saddle keeps its sign.
		if r.IntN(2) == 0 && g < against {
			against -= g
			g = -g
		}
		b.modesGain = append(b.modesGain, g)
	}
	return b
}

// force is the contact's force at t seconds, unit peak.
func (b bench) force(t, scale float64) float64 {
	u := t / (b.contactS * scale)
	if u <= 0 || u >= 1 {
		return 0
	}
	s := math.Sin(math.Pi * u)
	switch b.shape {
	case 0:
		return s
	case 1:
		return math.Pow(s, 1.5) // Hertz contact
	}
	return s * s
}

// tap renders one tap of force 1 whose onset lies at fraction of a sample
// after index 0.
func (b bench) tap(n int, fraction, stretch float64) []float64 {
	x := make([]float64, n)
	f := make([]float64, n)
	for i := range f {
		f[i] = b.force((float64(i)-fraction)/b.rate, stretch)
	}
	for i := range x {
		x[i] = b.direct * f[i]
	}
	for m, hz := range b.modesHz {
		resonate(x, f, hz, b.modesT60[m], b.modesGain[m], b.rate)
	}
	if b.stringHz > 0 {
		for k := 1; k < 8 && float64(k)*b.stringHz < 0.4*b.rate; k++ {
			resonate(x, f, float64(k)*b.stringHz, b.stringT60/float64(k), b.stringGain/float64(k), b.rate)
		}
	}
	delay := int(b.crossDelay * b.rate)
	for i := n - 1; i >= delay; i-- {
		x[i] += b.crossGain * x[i-delay]
	}
	fixtures.HighPass(x, b.rate, b.cornerHz)
	for i := range x {
		x[i] *= b.sign * fade(i, n)
	}
	return x
}

// fade ends a rendering softly, over its last third.
func fade(i, n int) float64 {
	if 3*i < 2*n {
		return 1
	}
	return 0.5 + 0.5*math.Cos(math.Pi*(3*float64(i)/float64(n)-2))
}

// resonate adds gain times the response of one mode, its peak gain near 1 for
// a force as long as half its period.
func resonate(x, f []float64, hz, t60, gain, rate float64) {
	if hz > 0.45*rate {
		return
	}
	w := 2 * math.Pi * hz / rate
	decay := math.Exp(-6.91 / (t60 * rate))
	a1, a2 := 2*decay*math.Cos(w), -decay*decay
	var y1, y2 float64
	rung := len(f) // from here on it rings freely
	for rung > 0 && f[rung-1] == 0 {
		rung--
	}
	for i, v := range f[:rung] {
		y := a1*y1 + a2*y2 + w*math.Sin(w)*v
		x[i] += gain * y
		y2, y1 = y1, y
	}
	z := cmplx.Rect(decay, w)
	ring(x[rung:], complex(gain, 0)*complex(y1, (y2*decay-y1*math.Cos(w))/math.Sin(w))*z, z, 1e-9*gain)
}

// ring adds the real part of start, start*step, start*step^2 ... to x until
// its size is below least. Four phasors in a row are turned by four at a time,
// so that one product does not wait for the other.
func ring(x []float64, start, step complex128, least float64) {
	p0, p1, p2, p3 := start, start*step, start*step*step, start*step*step*step
	four := step * step * step * step
	for ; len(x) >= 4 && real(p0)*real(p0)+imag(p0)*imag(p0) > least*least; x = x[4:] {
		v := (*[4]float64)(x)
		v[0], v[1], v[2], v[3] = v[0]+real(p0), v[1]+real(p1), v[2]+real(p2), v[3]+real(p3)
		p0, p1, p2, p3 = p0*four, p1*four, p2*four, p3*four
	}
}

// fading calls with exp(-t/tau) at t = 0, 1, 2 ... n-1.
func fading(n int, tau float64, each func(i int, e float64)) {
	e, step := 1.0, math.Exp(-1/tau)
	for i := range n {
		each(i, e)
		e *= step
	}
}

// noiseOf draws n samples of background with mean square 1: white, 1/f,
// hum with harmonics, in random shares.
func noiseOf(r *rand.Rand, n int, rate float64) []float64 {
	white, pink, hum := r.Float64(), r.Float64(), r.Float64()*float64(r.IntN(2))
	x := fixtures.White(n, white, r)
	addAt(x, fixtures.Pink(n, rate, pink, r), 0, 1)
	if hum > 0 {
		mains := []float64{50, 60}[r.IntN(2)] * (1 + 0.005*(2*r.Float64()-1))
		for k := 1; k <= 1+r.IntN(15); k++ {
			a, ph := hum*1.5/float64(k)*r.Float64(), 2*math.Pi*r.Float64()
			ring(x, cmplx.Rect(a, ph-math.Pi/2), cmplx.Rect(1, 2*math.Pi*mains*float64(k)/rate), 0)
		}
	}
	scaleTo(x, 1)
	return x
}

func scaleTo(x []float64, rmsWanted float64) {
	g := rmsWanted / rms(x)
	for i := range x {
		x[i] *= g
	}
}

// truth is what a rendered take holds.
type truth struct {
	onset  float64 // samples
	level  float64 // AES17 dBFS of the clean event
	double float64 // s; 0: single
	sign   int
}

// tapTake renders a take of taps at a signal-to-noise ratio (tap level over
// background, full bandwidth).
type tapTake struct {
	taps     int
	snrDB    float64
	doubles  float64 // share
	drift    bool
	undamped bool
	gapS     float64 // least
	noise    bool
	touch    bool
}

func (tk tapTake) render(r *rand.Rand, b bench) (signal.Memory, []truth) {
	if tk.undamped {
		b.stringHz, b.stringGain, b.stringT60 = 40*math.Pow(10, r.Float64()), 0.05*r.Float64(), 1+3*r.Float64()
	}
	rate := b.rate
	at := 0.3 + 0.5*r.Float64()
	var truths []truth
	var starts []float64
	for range tk.taps {
		starts = append(starts, at)
		at += tk.gapS + 0.5*r.Float64()*r.Float64()
	}
	x := make([]float64, int((at+0.4)*rate))
	for _, s := range starts {
		gain := math.Pow(10, 2*r.NormFloat64()/20)
		whole, frac := math.Modf(s * rate)
		one := b.tap(int(1.2*rate), frac, 1+0.1*r.NormFloat64())
		t := truth{onset: s * rate, sign: int(b.sign)}
		if b.direct < 0 {
			t.sign = -t.sign
		}
		clean := one[:int(0.05*rate)]
		t.level = dbfs(floats.Dot(clean, clean) / float64(len(clean)) * gain * gain)
		addAt(x, one, int(whole), gain)
		if r.Float64() < tk.doubles {
			t.double = 0.005 * math.Pow(12, r.Float64())
			addAt(x, b.tap(int(0.5*rate), frac, 1), int(whole+t.double*rate), gain*(0.3+0.5*r.Float64()))
		}
		if tk.touch {
			addTouch(x, int(whole), gain*b.sign*0.03*r.Float64(), rate)
		}
		truths = append(truths, t)
	}
	if tk.noise {
		mean := 0.0
		for _, t := range truths {
			mean += math.Pow(10, t.level/10) / 2 / float64(len(truths))
		}
		sd := math.Sqrt(mean * math.Pow(10, -tk.snrDB/10))
		for i, v := range noiseOf(r, len(x), rate) {
			x[i] += v * sd
		}
	}
	if tk.drift {
		off, w, ph := r.NormFloat64()*0.1, 2*math.Pi*0.3*r.Float64()/rate, r.Float64()*6
		for i := range x {
			x[i] += off
		}
		ring(x, cmplx.Rect(0.1, ph-math.Pi/2), cmplx.Rect(1, w), 0)
	}
	return signal.Memory{Samples: x, SampleRate: rate}, truths
}

func addAt(x, y []float64, at int, gain float64) {
	if at < 0 {
		y, at = y[min(len(y), -at):], 0
	}
	for i, v := range y[:max(0, min(len(y), len(x)-at))] {
		x[at+i] += gain * v
	}
}

// addTouch is a finger that settles for 20 ms before the contact.
func addTouch(x []float64, at int, height, rate float64) {
	n := int(0.02 * rate)
	for i := range n {
		if j := at - n + i; j >= 0 {
			x[j] += height * (0.5 - 0.5*math.Cos(math.Pi*float64(i)/float64(n)))
		}
	}
	for i := range n * 3 {
		if j := at + i; j < len(x) {
			x[j] += height * math.Exp(-float64(i)/float64(n))
		}
	}
}

// plucked is a string and the hand that plays it.
type plucked struct {
	rate, hz, t60, b float64
	position         float64 // of the finger, share of the length
	softS            float64 // width of the release
	cornerHz         float64
	sign             float64
	pullS            float64 // how long the finger pulls
	scrape           float64 // its noise before the release, relative to the release's step
	dampAt           float64 // s after onset, when a hand stops the note; 0: never
	thump            float64
}

func randomString(r *rand.Rand, rate float64) plucked {
	s := plucked{rate: rate, hz: 30 * math.Pow(30, r.Float64()), b: 2e-3 * r.Float64() * r.Float64(),
		position: 0.08 + 0.3*r.Float64(), softS: 3e-4 * math.Pow(15, r.Float64()), cornerHz: 2 * math.Pow(100, r.Float64()),
		sign: 1, pullS: 0.03 + 0.2*r.Float64(), scrape: 0.1 * r.Float64() * r.Float64()}
	s.t60 = (0.5 + 9*r.Float64()) * math.Pow(30/s.hz, 0.25)
	s.softS = min(s.softS, 0.25/s.hz+2e-4)
	if r.IntN(2) == 0 {
		s.sign = -1
	}
	return s
}

// note renders n samples whose sample at holds the onset: the moment the
// finger lets go. The bridge feels the string's pull fall in from the finger,
// then the partials.
func (s plucked) note(r *rand.Rand, n, at int) []float64 {
	x := make([]float64, n)
	steps := 0.0
	for k := 1; k < 80; k++ {
		hz := s.hz * float64(k) * math.Sqrt(1+s.b*float64(k*k))
		if hz > 0.4*s.rate || hz > 8000 {
			break
		}
		w := 2 * math.Pi * hz / s.rate
		amp := math.Sin(float64(k)*math.Pi*s.position) / float64(k) * math.Exp(-math.Pow(hz*s.softS, 2))
		decay := 6.91 / (s.t60 * s.rate) * (1 + math.Pow(hz/1500, 1.5))
		steps += amp
		ring(x[at:], complex(amp, 0), cmplx.Exp(complex(-decay, w)), 1e-7*amp)
	}
	fading(n-at, 0.02*s.rate, func(i int, e float64) { x[at+i] -= steps * e })
	top := peakOf(x)
	soft := max(1, int(s.softS*s.rate))
	fading(n-at, float64(soft), func(i int, e float64) { x[at+i] *= 1 - e })
	if s.dampAt > 0 {
		s.damp(r, x, at, top)
	}
	s.pull(r, x, at, top)
	fixtures.HighPass(x, s.rate, s.cornerHz)
	for i := range x {
		x[i] *= s.sign * fade(i, n)
	}
	return x
}

// damp stops the string within 30 ms, with a soft thump.
func (s plucked) damp(r *rand.Rand, x []float64, at int, top float64) {
	from := at + int(s.dampAt*s.rate)
	thump := 0.0
	for i := from; i < len(x); i++ {
		t := float64(i-from) / s.rate
		if t > 0.5 { // 360 dB down
			clear(x[i:])
			return
		}
		x[i] *= math.Exp(-t / 0.012)
		thump += 0.1 * (r.NormFloat64() - thump)
		x[i] += s.thump * top * math.Exp(-t/0.015) * (1 - math.Exp(-t/0.001)) * (thump + math.Sin(2*math.Pi*90*t))
	}
}

// pull is the finger's slow push before the release, and its scrape.
func (s plucked) pull(r *rand.Rand, x []float64, at int, top float64) {
	n := min(at, int(s.pullS*s.rate))
	low := 0.0
	for i := at - n; i < at; i++ {
		u := float64(i-at+n) / float64(n)
		low += 0.4 * (r.NormFloat64() - low)
		x[i] += -0.3*top*(0.5-0.5*math.Cos(math.Pi*u)) + s.scrape*top*u*low
	}
	fading(len(x)-at, 0.004*s.rate, func(i int, e float64) { x[at+i] -= 0.3 * top * e })
}

// pluckTake renders notes of one string at a signal-to-noise ratio.
func pluckTake(r *rand.Rand, rate, snrDB float64) (signal.Memory, []truth, plucked) {
	s := randomString(r, rate)
	// A finger that plucks anew stops the string first. Some takes leave that
	// out, which is harder; not for the lowest strings, soft and slow.
	at, stops := 0.4+0.5*r.Float64(), r.IntN(3) > 0 || s.hz < 60
	damped, thump := r.IntN(2) == 0, 0.3*r.Float64()*r.Float64()
	notes := 3 + r.IntN(2)
	var starts []float64
	for range notes {
		starts = append(starts, at)
		at += 0.7 + 1.2*r.Float64()*r.Float64()
	}
	x := make([]float64, int((at+0.8)*rate))
	var truths []truth
	power := 0.0
	for i, start := range starts {
		s.dampAt, s.thump = 0, thump
		switch {
		case i+1 < notes && stops:
			s.dampAt = starts[i+1] - start - 0.06 - 0.05*r.Float64()
		case damped && (i+1 == notes || starts[i+1]-start > 1.2):
			s.dampAt = 0.7 + 0.1*r.Float64()
		}
		lead := int(0.3 * rate)
		gain := math.Pow(10, 2*r.NormFloat64()/20) * 0.2
		one := s.note(r, lead+len(x)-int(start*rate)+10, lead)
		addAt(x, one, int(start*rate)-lead, gain)
		truths = append(truths, truth{onset: math.Floor(start * rate), sign: int(s.sign)})
	}
	for i := range truths {
		from := int(truths[i].onset) + int(math.Round(0.02*rate))
		clean := slices.Clone(x[from : from+int(0.5*rate)])
		straighten(clean) // a level is about the string's own baseline
		p := floats.Dot(clean, clean) / float64(len(clean))
		power += p / float64(notes)
		truths[i].level = dbfs(p)
	}
	sd := math.Sqrt(power * math.Pow(10, -snrDB/10))
	for i, v := range noiseOf(r, len(x), rate) {
		x[i] += v * sd
	}
	return signal.Memory{Samples: x, SampleRate: rate}, truths, s
}
