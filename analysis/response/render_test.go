package response

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"saddlewise/analysis/signal"
)

// system is what a drawn sweep goes through before it is recorded.
type system struct {
	filter   func(hz float64) complex128
	harmonic []float64 // amplitudes of orders 2 and up before the filter, re the fundamental
	delayS   float64
	ppm      float64
	gain     float64
	snrDB    float64 // of the recorded sweep over white noise
	humDB    float64 // re the sweep; 0: none
	extraS   float64 // of silence after
	takeRate float64
}

// record renders the take: the sweep computed at the recorder's own instants
// and filtered by one transform, exactly.
func (s system) record(p SweepParams, rng *rand.Rand) []float64 {
	clock := 1 + 1e-6*s.ppm
	rate := s.takeRate
	if rate == 0 {
		rate = p.RateHz
	}
	seconds := p.LeadInS + p.Seconds + p.TailS + s.delayS + s.extraS
	n := int(seconds * rate * clock)
	x := make([]float64, signal.PowerOfTwo(n+int(rate)))
	for i := range n {
		t := float64(i)/(rate*clock) - p.LeadInS - s.delayS
		if t < 0 || t >= p.Seconds {
			continue
		}
		v := math.Sin(p.Phase(t))
		for j, a := range s.harmonic {
			// Above half the rate no recorder answers.
			if k := float64(j + 2); k*p.LowHz*math.Exp(t/p.rateS()) < 0.49*rate {
				v += a * math.Cos(k*p.Phase(t))
			}
		}
		x[i] = v * halfCosine(int(t*p.RateHz), int(p.FadeInS*p.RateHz)) * halfCosine(int((p.Seconds-t)*p.RateHz), int(p.FadeOutS*p.RateHz))
	}
	if s.filter != nil {
		fft := fourier.NewFFT(len(x))
		c := fft.Coefficients(nil, x)
		for k := range c {
			c[k] *= s.filter(float64(k)*rate*clock/float64(len(x))) / complex(float64(len(x)), 0)
		}
		c[len(c)-1] = complex(real(c[len(c)-1]), 0)
		x = fft.Sequence(x, c)
	}
	x = x[:n]
	active := x[int((p.LeadInS+s.delayS)*rate):][:int(p.Seconds*rate)]
	rms := math.Sqrt(signal.MeanSquare(active))
	noise, hum := rms*math.Pow(10, -s.snrDB/20), 0.0
	if s.humDB != 0 {
		hum = rms * math.Pow(10, s.humDB/20) * math.Sqrt2
	}
	for i := range x {
		x[i] = s.gain * (x[i] + noise*rng.NormFloat64() + hum*math.Sin(2*math.Pi*50*float64(i)/rate))
	}
	return x
}

func respond(t testing.TB, p SweepParams, take []float64, rate float64) SweepResponse {
	t.Helper()
	r, err := tryRespond(p, take, rate)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func tryRespond(p SweepParams, take []float64, rate float64) (SweepResponse, error) {
	src, err := p.Source()
	if err != nil {
		return SweepResponse{}, err
	}
	return FromSweep(context.Background(), signal.Memory{Samples: take, SampleRate: rate}, src)
}

// highPass is the closed form of a first-order corner, resonance that of a
// band-pass of quality q, beside a straight path.
func highPass(fc float64) func(float64) complex128 {
	return func(hz float64) complex128 { return complex(0, hz/fc) / complex(1, hz/fc) }
}

func resonance(f0, q, height float64) func(float64) complex128 {
	return func(hz float64) complex128 {
		if hz == 0 {
			return 1
		}
		return 1 + complex(height, 0)/complex(1, q*(hz/f0-f0/hz))
	}
}

func product(f ...func(float64) complex128) func(float64) complex128 {
	return func(hz float64) complex128 {
		v := 1 + 0i
		for _, g := range f {
			v *= g(hz)
		}
		return v
	}
}

func randomSystem(rng *rand.Rand) system {
	uniform := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	s := system{delayS: uniform(0, 0.8), ppm: uniform(-200, 200), gain: math.Pow(10, uniform(-40, 0)/20), extraS: uniform(0, 1)}
	filters := []func(float64) complex128{highPass(uniform(5, 150))}
	for range rng.IntN(4) {
		filters = append(filters, resonance(math.Exp(uniform(math.Log(100), math.Log(8000))), uniform(1, 30), uniform(0.5, 4)))
	}
	s.filter = product(filters...)
	return s
}
