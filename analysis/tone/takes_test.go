package tone

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures/accuracy"
)

// Takes without a tone: taps with ringing strings, hum, noise, and both.
func TestNoToneInOtherTakes(t *testing.T) {
	wrong := 0
	cases := accuracy.Cases(40, 500)
	for seed := range cases {
		rng := rand.New(rand.NewPCG(uint64(seed), 12))
		rate := []float64{44100, 48000}[rng.IntN(2)]
		x := make([]float64, int((3+6*rng.Float64())*rate))
		for i := range x {
			x[i] = 1e-3 * rng.NormFloat64()
		}
		taps := rng.IntN(6)
		for k := range taps {
			from := 0.4 + (float64(len(x))/rate-0.5)*float64(k)/float64(taps)
			for range 5 { // bridge modes
				add(x, rate, from, 0.05+0.3*rng.Float64(), 120*math.Pow(20, rng.Float64()), 0.05+0.2*rng.Float64(), 6*rng.Float64())
			}
			for _, hz := range []float64{82.4, 110, 146.8, 196, 246.9, 329.6} {
				add(x, rate, from, 0.006*rng.Float64(), hz, 1+3*rng.Float64(), 6*rng.Float64())
			}
		}
		if rng.IntN(2) == 0 {
			mains := []float64{50, 60}[rng.IntN(2)] * (1 + 2e-3*rng.NormFloat64())
			for k := 1; k < 14; k++ {
				add(x, rate, 0, 0.03*rng.Float64()/float64(k), mains*float64(k), math.Inf(1), 6*rng.Float64())
			}
		}
		got, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: rate}, Options{})
		if err == nil {
			wrong++
			t.Logf("seed %d, %d taps: tone at %.1f Hz, %d strikes, level %.1f dBFS, SNR %.0f", seed, taps, got.Hz, len(got.Strikes), got.Strikes[0].LevelDBFS, got.Strikes[0].SNRDB)
		} else if !errors.Is(err, ErrNoTone) {
			t.Error(err)
		}
	}
	t.Logf("%d of %d taken for a tone", wrong, cases)
	if wrong > cases/50 {
		t.Errorf("%d of %d takes without a tone passed for one", wrong, cases)
	}
}
