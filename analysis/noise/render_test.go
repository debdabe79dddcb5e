package noise

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"

	"saddlewise/analysis/signal"
)

// drawn is a recording of known noise and hum.
type drawn struct {
	x           []float64
	rateHz      float64
	dbfs, aDBFS float64 // exact levels of this very record, 20 Hz to 20 kHz
	rest, aRest float64 // the same of the noise without the hum
	mainsHz     float64 // its mean over the record
	orders      []int
	levels      []float64 // dBFS of each line
}

// shape is what to draw.
type shape struct {
	rateHz, seconds float64
	exponent        float64 // density falls as 1/f to this power
	cornerHz        float64 // below this frequency, white above; 0: everywhere
	levelDBFS       float64 // about
	dc              float64
	mainsHz         float64
	wander          float64 // standard deviation of the mains, share
	orders          []int
	linesDBFS       []float64
	noLevels        bool // leave the exact levels out
}

// shapeAt is the density at hz, of any scale.
func (s shape) shapeAt(hz float64) float64 {
	if s.cornerHz > 0 {
		return 1 + math.Pow(s.cornerHz/hz, s.exponent)
	}
	return math.Pow(1000/hz, s.exponent)
}

// densityDBFS is the expected density at hz, in dBFS per Hz.
func (s shape) densityDBFS(hz float64) float64 {
	total := 0.0
	const steps = 3000
	for i := range steps {
		f := 20 * math.Pow(1000, (float64(i)+0.5)/steps)
		total += s.shapeAt(f) * f * math.Log(1000) / steps
	}
	return s.levelDBFS + 10*math.Log10(s.shapeAt(hz)/total)
}

// draw makes noise of the exact density wanted by one large inverse transform
// of a record longer than the one kept, so that its ideally filtered levels
// are known without any end effect.
func (s shape) draw(rng *rand.Rand) drawn {
	kept := int(s.seconds * s.rateHz)
	margin := int(0.5 * s.rateHz) // for the filters' ends
	if s.noLevels {
		margin = 0
	}
	n := 2 * signal.FastLength(kept/2+margin+1)
	fft := fourier.NewFFT(n)
	step := s.rateHz / float64(n)
	c, filtered, weighted := make([]complex128, n/2+1), make([]complex128, n/2+1), make([]complex128, n/2+1)
	aGain := complex(signal.DBToAmplitude(signal.AWeightingDB(20)), 0)
	perHz := signal.DBFSToPower(s.densityDBFS(1000)) / s.shapeAt(1000)
	for k := int(2 / step); k < n/2; k++ {
		// Each of a bin's two squares counts twice in the mean square.
		a := math.Sqrt(perHz * s.shapeAt(float64(k)*step) * step / 4)
		c[k] = complex(a*rng.NormFloat64(), a*rng.NormFloat64())
		if hz := float64(k) * step; !s.noLevels && hz >= 20 && hz <= 20000 {
			filtered[k] = c[k]
			if k%8 == 0 {
				aGain = complex(signal.DBToAmplitude(signal.AWeightingDB(hz)), 0)
			}
			weighted[k] = c[k] * aGain
		}
	}
	cutOut := func(c []complex128) []float64 { return fft.Sequence(nil, c)[margin : margin+kept : margin+kept] }
	d := drawn{x: cutOut(c), rateHz: s.rateHz, orders: s.orders, levels: s.linesDBFS}
	for i := range d.x {
		d.x[i] += s.dc
	}
	if s.noLevels {
		d.mainsHz = s.hum(rng, d.x, make([]float64, kept), make([]float64, kept))
		return d
	}
	flat, a := cutOut(filtered), cutOut(weighted)
	d.rest, d.aRest = levelOf(flat), levelOf(a)
	d.mainsHz = s.hum(rng, d.x, flat, a)
	d.dbfs, d.aDBFS = levelOf(flat), levelOf(a)
	return d
}

// hum adds the lines to x and flat, and A-weighted to a, and gives the mean
// mains frequency.
func (s shape) hum(rng *rand.Rand, x, flat, a []float64) float64 {
	if len(s.orders) == 0 {
		return 0
	}
	start := make([]complex128, len(s.orders))
	amplitude, aGain := make([]float64, len(s.orders)), make([]float64, len(s.orders))
	for j, order := range s.orders {
		amplitude[j] = signal.DBToAmplitude(s.linesDBFS[j])
		aGain[j] = signal.DBToAmplitude(signal.AWeightingDB(s.mainsHz * float64(order)))
		start[j] = cmplx.Rect(1, 2*math.Pi*rng.Float64())
	}
	turn, drift, drifts := 1+0i, 0.0, 0.0
	step := cmplx.Rect(1, 2*math.Pi*s.mainsHz/s.rateHz)
	const every = 64
	for i := range x {
		if i%every == 0 && s.wander > 0 {
			// Frequency wanders as a random walk held back over some seconds.
			t := every / s.rateHz / 3
			drift += -t*drift + s.wander*math.Sqrt(2*t)*rng.NormFloat64()
			step = cmplx.Rect(1, 2*math.Pi*s.mainsHz*(1+drift)/s.rateHz)
		}
		turn *= step
		drifts += drift
		power, order := 1+0i, 0
		for j, k := range s.orders {
			for ; order < k; order++ {
				power *= turn
			}
			v := amplitude[j] * imag(power*start[j])
			x[i] += v
			flat[i] += v
			a[i] += v * aGain[j]
		}
	}
	return s.mainsHz * (1 + drifts/float64(len(x)))
}

func levelOf(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return signal.PowerToDBFS(sum / float64(len(x)))
}

func pick[T any](rng *rand.Rand, from ...T) T { return from[rng.IntN(len(from))] }

func between(rng *rand.Rand, low, high float64) float64 { return low + (high-low)*rng.Float64() }

// randomShape draws the kind of noise; hum is added by the caller.
func randomShape(rng *rand.Rand, shortest, longest float64) shape {
	s := shape{rateHz: pick(rng, 44100.0, 44100, 44100, 44100, 48000, 48000, 48000, 48000, 48000, 96000, 96000, 192000), levelDBFS: between(rng, -110, -50)}
	s.seconds = math.Exp(between(rng, math.Log(shortest), math.Log(longest)))
	if s.rateHz > 50000 {
		s.seconds = math.Min(s.seconds, max(shortest, 3))
	}
	switch rng.IntN(3) {
	case 1:
		s.exponent = 1
	case 2:
		s.exponent, s.cornerHz = between(rng, 0.8, 1.3), between(rng, 50, 2000)
	}
	s.dc = between(rng, -0.01, 0.01)
	return s
}

// randomHum adds up to 20 lines whose densest stands out by about the given
// decibels over the noise in 1 Hz.
func (s shape) withHum(rng *rand.Rand, lowDB, highDB float64) shape {
	nominal := pick(rng, 50.0, 60)
	s.mainsHz = nominal * (1 + between(rng, -0.005, 0.005))
	first := 1 + rng.IntN(2)
	s.orders = []int{first}
	for len(s.orders) < 1+rng.IntN(20) {
		s.orders = append(s.orders, s.orders[len(s.orders)-1]+1+rng.IntN(2))
	}
	for _, order := range s.orders {
		over := between(rng, lowDB, highDB)
		s.linesDBFS = append(s.linesDBFS, s.densityDBFS(float64(order)*s.mainsHz)+over)
	}
	return s
}
