package event

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"saddlewise/analysis/signal"
)

// Of a lead of 50 to 75 ms no slope is carried over the tap: hum's own would be
// taken for a drift and go on rising for the 50 ms of the tap.
func TestShortLeadHasNoSlope(t *testing.T) {
	const rate = 48000.0
	var errs []float64
	for c := range 60 {
		rng := rand.New(rand.NewPCG(uint64(c), 11))
		at, phase := int((0.05+0.025*rng.Float64())*rate), 2*math.Pi*rng.Float64()
		x := make([]float64, int(0.6*rate))
		sum := 0.0
		for k := range x {
			if k >= at {
				s := float64(k-at) / rate
				v := 0.1 * math.Sin(2*math.Pi*400*s) * math.Exp(-60*s)
				if s < 0.05 {
					sum += v * v
				}
				x[k] = v
			}
			x[k] += 0.01*math.Sin(2*math.Pi*50*float64(k)/rate+phase) + 1e-5*rng.NormFloat64()
		}
		found, err := Find(t.Context(), signal.Memory{Samples: x, SampleRate: rate}, Tap)
		if err != nil || len(found.Events) == 0 {
			continue
		}
		level, err := MeasureLevel(signal.Memory{Samples: x, SampleRate: rate}, found.Events[0], Tap, found.NoisePower)
		if err == nil {
			errs = append(errs, math.Abs(level.RMSDBFS-dbfs(sum/(0.05*rate))))
		}
	}
	if worst := slices.Max(append(errs, 0)); len(errs) < 60 || worst > 0.14 {
		t.Errorf("%d of 60 levels, up to %.3f dB off", len(errs), worst)
	}
}
