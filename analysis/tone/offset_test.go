package tone

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures/accuracy"
)

// A low tone that is cut off, on a constant offset, is as long and as clean as
// without: distortion and noise are read from the tone, not from its end.
func TestConstantOffset(t *testing.T) {
	t.Parallel()
	const distortionDB = -50
	var distortion, rest []float64
	for c := range accuracy.Cases(24, 288) {
		rng := rand.New(rand.NewPCG(uint64(c), 3))
		rate := []float64{44100, 48000, 88200, 96000}[c%4]
		offset, hz := []float64{0.04, 0.01, 0.003, 0}[c/4%4], []float64{110, 196, 256, 440}[c/16%4]
		level, silence, seconds := []float64{0.05, 0.01}[c/2%2], 0.4, 0.9+2.5*rng.Float64()
		x := make([]float64, int((2*silence+seconds)*rate))
		for k := range x {
			at := float64(k)/rate - silence
			if at > 0 && at < seconds {
				x[k] = level * min(1, at/0.02) * (math.Sin(2*math.Pi*hz*at) + math.Pow(10, distortionDB/20.0)*math.Sin(4*math.Pi*hz*at))
			}
			x[k] += offset + 2e-4*level*rng.NormFloat64()
		}
		got, err := Measure(t.Context(), signal.Memory{Samples: x, SampleRate: rate}, Options{NominalHz: hz})
		if err != nil || len(got.Strikes) == 0 {
			t.Errorf("case %d, %g Hz, offset %g: %d strikes, %v", c, hz, offset, len(got.Strikes), err)
			continue
		}
		for _, s := range got.Strikes {
			if math.Abs(s.Hz-hz) > 0.01 {
				t.Errorf("case %d, %g Hz, offset %g: %.3f Hz", c, hz, offset, s.Hz)
			}
			distortion = append(distortion, math.Abs(s.THDDB-distortionDB))
			rest = append(rest, math.Abs(s.THDNDB-distortionDB))
		}
	}
	for measure, errs := range map[string][]float64{"THD": distortion, "THD+N": rest} {
		row := accuracy.Report(t, accuracy.Row{
			Measure: measure + " of a low tone on a constant offset", Range: "110-440 Hz, cut off, offset up to 0.04 of full scale",
			Unit: "dB", Bound: "worst within 1", Source: "sum of two sines",
		}, errs)
		if !(row.Worst < 1) {
			t.Errorf("%s up to %.2f dB off", measure, row.Worst)
		}
	}
}

// An offset folds to a multiple of the baseband's rate: at 88.2 kHz to 150 Hz,
// beside a tone of 110 Hz that is far weaker than it.
func TestOffsetIsNoTone(t *testing.T) {
	t.Parallel()
	for c := range 12 {
		rng := rand.New(rand.NewPCG(uint64(c), 4))
		const rate, hz, silence, seconds = 88200.0, 110.0, 0.4, 2.0
		x := make([]float64, int((2*silence+seconds)*rate))
		for k := range x {
			if at := float64(k)/rate - silence; at > 0 && at < seconds {
				x[k] = 0.01 * min(1, at/0.02) * math.Exp(-1.4*at) * math.Sin(2*math.Pi*hz*at)
			}
			x[k] += 0.1 + 1e-5*rng.NormFloat64()
		}
		got, err := Measure(t.Context(), signal.Memory{Samples: x, SampleRate: rate}, Options{NominalHz: hz})
		for _, s := range got.Strikes {
			if math.Abs(s.Hz-hz) > 0.05 {
				t.Errorf("case %d: %.3f Hz, want %g", c, s.Hz, hz)
			}
		}
		if err != nil || len(got.Strikes) == 0 {
			t.Errorf("case %d: %d strikes, %v", c, len(got.Strikes), err)
		}
	}
}
