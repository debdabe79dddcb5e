package event

import (
	"math"
	"math/rand/v2"

	"saddlewise/analysis/signal"
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
	for range 2 + r.IntN(5) {
		b.modesHz = append(b.modesHz, 120*math.Pow(25, r.Float64()))
		b.modesT60 = append(b.modesT60, 0.03+0.2*r.Float64())
		g := 0.5 * r.Float64()
		if r.IntN(2) == 0 {
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
		for k := 1; k < 20 && float64(k)*b.stringHz < 0.4*b.rate; k++ {
			resonate(x, f, float64(k)*b.stringHz, b.stringT60/float64(k), b.stringGain/float64(k), b.rate)
		}
	}
	delay := int(b.crossDelay * b.rate)
	for i := n - 1; i >= delay; i-- {
		x[i] += b.crossGain * x[i-delay]
	}
	lossyInput(x, b.cornerHz, b.rate)
	for i := range x {
		x[i] *= b.sign
	}
	return x
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
	for i := range x {
		y := a1*y1 + a2*y2 + w*w/math.Max(w, 1e-9)*f[i]
		x[i] += gain * y * math.Sin(w) / math.Sin(w)
		y2, y1 = y1, y
	}
}

// lossyInput is the first-order high-pass of the disc's capacitance into the
// input resistance.
func lossyInput(x []float64, cornerHz, rate float64) {
	a := math.Exp(-2 * math.Pi * cornerHz / rate)
	var px, py float64
	for i, v := range x {
		y := a * (py + v - px)
		px, py = v, y
		x[i] = y
	}
}

// noiseOf draws n samples of background with mean square 1: white, 1/f,
// hum with harmonics, in random shares.
func noiseOf(r *rand.Rand, n int, rate float64) []float64 {
	x := make([]float64, n)
	white, pink, hum := r.Float64(), r.Float64(), r.Float64()*float64(r.IntN(2))
	var slow [4]float64
	for i := range x {
		w := r.NormFloat64()
		p := 0.0
		for j := range slow {
			a := math.Exp(-2 * math.Pi * 20 * math.Pow(5, float64(j)) / rate)
			slow[j] = a*slow[j] + math.Sqrt(1-a*a)*r.NormFloat64()
			p += slow[j] / 2
		}
		x[i] = white*w + pink*p
	}
	if hum > 0 {
		mains := []float64{50, 60}[r.IntN(2)] * (1 + 0.005*(2*r.Float64()-1))
		for k := 1; k <= 1+r.IntN(15); k++ {
			a, ph := hum*1.5/float64(k)*r.Float64(), 2*math.Pi*r.Float64()
			for i := range x {
				x[i] += a * math.Sin(2*math.Pi*mains*float64(k)*float64(i)/rate+ph)
			}
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
	taps       int
	snrDB      float64
	doubles    float64 // share
	drift      bool
	undamped   bool
	gapS       float64 // least
	noise      bool
	touch      bool
	lastTapGap float64
}

func (tk tapTake) render(r *rand.Rand, b bench) (signal.Memory, []truth) {
	if tk.undamped {
		b.stringHz, b.stringGain, b.stringT60 = 40*math.Pow(10, r.Float64()), 0.05*r.Float64(), 1+3*r.Float64()
	}
	rate := b.rate
	x := make([]float64, 0)
	at := 0.3 + 0.5*r.Float64()
	var truths []truth
	var starts []float64
	for range tk.taps {
		starts = append(starts, at)
		at += tk.gapS + 0.5*r.Float64()*r.Float64()
	}
	x = make([]float64, int((at+0.4)*rate))
	for _, s := range starts {
		gain := math.Pow(10, 2*r.NormFloat64()/20)
		whole, frac := math.Modf(s * rate)
		one := b.tap(int(0.6*rate), frac, 1+0.1*r.NormFloat64())
		t := truth{onset: s * rate, sign: int(b.sign)}
		if b.direct < 0 {
			t.sign = -t.sign
		}
		clean := one[:int(0.05*rate)]
		t.level = dbfs(dot(clean, clean) / float64(len(clean)) * gain * gain)
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
			x[i] += off + 0.1*math.Sin(w*float64(i)+ph)
		}
	}
	return signal.Memory{Samples: x, SampleRate: rate}, truths
}

func addAt(x, y []float64, at int, gain float64) {
	for i, v := range y {
		if j := at + i; j >= 0 && j < len(x) {
			x[j] += gain * v
		}
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
