package recording

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"saddlewise/fixtures"
)

// scene is a healthy take: taps or plucks of any make in noise and hum.
type scene struct {
	rateHz  float64
	x       []float64
	onsets  []int
	lengths []int // of the sounds
	noise   float64
	kind    string
}

var sceneRates = []float64{8000, 22050, 44100, 48000, 96000, 192000}

// sceneKinds are ways to draw an event that starts sharply.
var sceneKinds = []string{"modelled tap", "modelled pluck", "sine from zero", "cosine from nothing", "noise burst", "half-sine push", "pulse train"}

// randomScene draws one; quick scenes at high rates would cost seconds, so
// the length shrinks with the rate.
func randomScene(rng *rand.Rand) scene {
	s := scene{rateHz: sceneRates[rng.IntN(len(sceneRates))], kind: sceneKinds[rng.IntN(len(sceneKinds))]}
	seconds := 1.5 + 2*rng.Float64()
	n := int(seconds * s.rateHz)
	s.noise = math.Pow(10, (-100+50*rng.Float64())/20) / math.Sqrt2
	s.x = fixtures.White(n, s.noise, rng)
	if rng.IntN(2) == 0 {
		for i, v := range fixtures.Pink(n, s.rateHz, s.noise*3*rng.Float64(), rng) {
			s.x[i] += v
		}
	}
	if rng.IntN(2) == 0 {
		fixtures.ElectricHum(50+10*float64(rng.IntN(2)), -80+40*rng.Float64(), rng).Add(s.x, s.rateHz, 1)
	}
	offset := 0.02 * rng.NormFloat64() * float64(rng.IntN(2))
	for i := range s.x {
		s.x[i] += offset
	}
	s.addEvents(rng)
	return s
}

func (s *scene) addEvents(rng *rand.Rand) {
	gap := 0.15 + 0.8*rng.Float64()
	amplitude := math.Pow(10, (-30+28*rng.Float64())/20)
	for at := 0.2 + 0.3*rng.Float64(); at < float64(len(s.x))/s.rateHz-0.1; at += gap * (0.7 + 0.6*rng.Float64()) {
		i := int(at * s.rateHz)
		y := s.event(rng, math.Min(1.5, float64(len(s.x)-i)/s.rateHz))
		gain := amplitude * math.Pow(10, 0.1*rng.NormFloat64())
		for k, v := range y {
			s.x[i+k] += gain * v
		}
		s.onsets, s.lengths = append(s.onsets, i), append(s.lengths, len(y))
		if rng.IntN(8) == 0 { // a double hit
			k := i + int((0.005+0.03*rng.Float64())*s.rateHz)
			again := fixtures.Tap{ContactS: 0.0008, Sign: 1, Modes: fixtures.BridgeModes()}
			for j, v := range again.Render(s.rateHz, math.Min(0.5, float64(len(s.x)-k)/s.rateHz)) {
				s.x[k+j] += 0.6 * gain * v
			}
		}
	}
}

// event fades out over its last 60 ms, as nothing cuts a sound off at once.
func (s *scene) event(rng *rand.Rand, seconds float64) []float64 {
	y := s.sharp(rng, seconds)
	fade := min(len(y), int(0.06*s.rateHz))
	for i := range fade {
		y[len(y)-1-i] *= 0.5 - 0.5*math.Cos(math.Pi*float64(i)/float64(fade))
	}
	return y
}

// sharp has a largest partial or push of about 1.
func (s *scene) sharp(rng *rand.Rand, seconds float64) []float64 {
	rate := s.rateHz
	n := int(seconds * rate)
	y := make([]float64, n)
	tau := 0.01 * math.Pow(60, rng.Float64()) * rate
	hz := 60 * math.Pow(20, rng.Float64())
	switch s.kind {
	case "modelled tap":
		return fixtures.Tap{ContactS: 0.0004 * math.Pow(7, rng.Float64()), Sign: 1, Modes: fixtures.BridgeModes()}.Render(rate, seconds)
	case "modelled pluck":
		return fixtures.PluckedString{F1Hz: 40 * math.Pow(15, rng.Float64()), B: 1e-4 * rng.Float64(), PluckAt: 0.05 + 0.3*rng.Float64(),
			T60S: 0.5 + 4*rng.Float64(), DampingRise: 0.3 * rng.Float64(), ReleaseS: 0.0006 * rng.Float64()}.Render(rate, seconds, rng)
	case "sine from zero", "cosine from nothing":
		phase := 0.0
		if s.kind != "sine from zero" {
			phase = math.Pi / 2
		}
		ring(y, 1, hz/rate, phase, tau)
	case "noise burst":
		for i := range y {
			y[i] = 0.3 * rng.NormFloat64()
		}
		fadeOut(y, tau)
	case "half-sine push":
		// The filter ahead of a converter lengthens what is shorter.
		push := int(math.Max(5, 0.0003*math.Pow(10, rng.Float64())*rate))
		for i := range min(n, push) {
			y[i] = math.Sin(math.Pi * (float64(i) + 0.5) / float64(push))
		}
		ring(y, 0.3, hz/rate, 0, tau)
	default: // the force of an ideal string on its saddle: sharp pulses
		period, width := rate/hz, 0.05+0.4*rng.Float64()
		low := 0.0
		soften := math.Exp(-2 * math.Pi * math.Min(0.4, (2000+12000*rng.Float64())/rate))
		for i := range y {
			_, phase := math.Modf(float64(i) / period)
			v := -width
			if phase < width {
				v = 1 - width
			}
			low = soften*low + (1-soften)*v
			y[i] = low
		}
		fadeOut(y, tau)
	}
	return y
}

// ring adds a sine of so many cycles per sample that fades as exp(-i/tau).
func ring(y []float64, gain, cycles, phase, tau float64) {
	z := cmplx.Rect(gain, phase-math.Pi/2)
	step := cmplx.Rect(math.Exp(-1/tau), 2*math.Pi*cycles)
	for i := range y {
		y[i] += real(z)
		z *= step
	}
}

// fadeOut multiplies sample i by exp(-i/tau).
func fadeOut(y []float64, tau float64) {
	gain, step := 1.0, math.Exp(-1/tau)
	for i := range y {
		y[i] *= gain
		gain *= step
	}
}

// keep writes the scene in a random format.
func (s *scene) keep(rng *rand.Rand) []byte {
	rate := int(s.rateHz)
	switch rng.IntN(3) {
	case 0:
		return file16(rate, 1, dithered(s.x, 16, rng))
	case 1:
		return fileFloat(rate, 1, s.x)
	}
	return file24(rate, 1, s.x)
}

func dithered(x []float64, bits int, rng *rand.Rand) []float64 {
	out, step := make([]float64, len(x)), math.Exp2(float64(1-bits))
	for i, v := range x {
		out[i] = v + step*(rng.Float64()-rng.Float64())
	}
	return out
}
