package event

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures"
)

// The other renderer of notes and taps: strings that beat, glide and are
// stiff, at rates from 8 to 384 kHz.
func TestNotesOfTheModel(t *testing.T) {
	t.Parallel()
	for c := range uint64(12) {
		r := rand.New(rand.NewPCG(6, c))
		rate := []float64{8000, 44100, 48000, 96000, 384000}[c%5]
		s := fixtures.PluckedString{F1Hz: 30 * math.Pow(20, r.Float64()), B: 1e-3 * r.Float64(), PluckAt: 0.1 + 0.3*r.Float64(),
			T60S: 1 + 5*r.Float64(), DampingRise: 0.3 * r.Float64(), ReleaseS: 0.004 * r.Float64(), GlideCents: 30 * r.Float64(), GlideTauS: 0.1,
			Second: &fixtures.Polarisation{Detune: 0.003 * r.Float64(), LevelDB: -6 * r.Float64(), T60S: 1 + 5*r.Float64()}}
		x := make([]float64, int(5.5*rate))
		starts := []float64{0.5, 1.3, 2.6, 4.1}
		for _, at := range starts {
			addAt(x, s.Render(rate, 5.5-at, r), int(at*rate), 0.1+0.03*r.Float64())
		}
		addAt(x, fixtures.White(len(x), 0.1*math.Pow(10, -(20+40*r.Float64())/20), r), 0, 1)
		found := mustFind(t, signal.Memory{Samples: x, SampleRate: rate}, Pluck)
		if len(found.Events) != len(starts) {
			t.Errorf("case %d, %.0f Hz, string at %.0f Hz: %d plucks, want %d", c, rate, s.F1Hz, len(found.Events), len(starts))
			continue
		}
		for i, e := range found.Events {
			if ms := (float64(e.Onset)/rate - starts[i]) * 1000; math.Abs(ms) > 6 {
				t.Errorf("case %d, %.0f Hz, string at %.0f Hz: pluck %d off by %.1f ms", c, rate, s.F1Hz, i, ms)
			}
		}
	}
}

func TestTapsOfTheModel(t *testing.T) {
	t.Parallel()
	for c := range uint64(20) {
		r := rand.New(rand.NewPCG(8, c))
		rate := []float64{8000, 44100, 48000, 96000, 384000}[c%5]
		tap := fixtures.Tap{ContactS: 0.0005 * math.Pow(6, r.Float64()), Sign: 1 - 2*float64(c%2), Modes: fixtures.BridgeModes()}
		x := make([]float64, int(3*rate))
		starts := []float64{0.4, 0.65, 1.3, 2.1}
		for _, at := range starts {
			addAt(x, tap.Render(rate, 0.8), int(at*rate), 0.2+0.1*r.Float64())
		}
		addAt(x, fixtures.White(len(x), 0.08*math.Pow(10, -(20+40*r.Float64())/20), r), 0, 1)
		fixtures.ElectricHum(50+10*float64(c%2), -60, r).Add(x, rate, 1)
		src := signal.Memory{Samples: x, SampleRate: rate}
		found := mustFind(t, src, Tap)
		if len(found.Events) != len(starts) {
			t.Errorf("case %d, %.0f Hz: %d taps, want %d", c, rate, len(found.Events), len(starts))
			continue
		}
		for i, e := range found.Events {
			m, err := FirstMotion(src, e, found.NoisePower)
			if ms := (float64(e.Onset)/rate - starts[i]) * 1000; err != nil || math.Abs(ms) > 0.3 || e.DoubleHit || m.Sign != int(tap.Sign) {
				t.Errorf("case %d, %.0f Hz, contact %.2f ms: tap %d off by %.3f ms, double %v, sign %d of %g, %v", c, rate, tap.ContactS*1000, i, ms, e.DoubleHit, m.Sign, tap.Sign, err)
			}
		}
	}
}
