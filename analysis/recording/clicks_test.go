package recording

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// Healthy takes must show no clicks, however sharp their events.
func TestSharpEventsAreNoClicks(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(80, 800)
	wrong, byKind, drawn := 0, map[string]int{}, map[string]int{}
	for k := range cases {
		rng := rand.New(rand.NewPCG(11, uint64(k)))
		s := randomScene(rng)
		drawn[s.kind]++
		f := inspect(t, s.keep(rng)).Channels[0]
		if f.Steps > 0 {
			wrong++
			byKind[s.kind]++
			t.Logf("case %d, %s at %g Hz: %d steps, first at %.5f s, onsets %v", k, s.kind, s.rateHz, f.Steps, f.FirstStepS, seconds(s.onsets, s.rateHz))
		}
	}
	share := float64(wrong) / float64(cases)
	t.Logf("false clicks: %d of %d takes (%.2f %%); by kind %v of %v", wrong, cases, 100*share, byKind, drawn)
	if float64(wrong) > 1+0.005*float64(cases) {
		t.Errorf("false clicks in %.2f %% of healthy takes, want 0.5 %% at most", 100*share)
	}
}

func seconds(at []int, rateHz float64) []float64 {
	out := make([]float64, len(at))
	for i, n := range at {
		out[i] = float64(n) / rateHz
	}
	return out
}

// fault is a way that samples get lost or wrong.
type fault struct {
	name   string
	found  float64 // least share that must be found
	damage func(x []float64, at int, size int, rng *rand.Rand) []float64
}

var faults = []fault{
	{"buffer lost", 0.45, func(x []float64, at, size int, _ *rand.Rand) []float64 {
		return append(append([]float64(nil), x[:at]...), x[at+size:]...)
	}},
	{"buffer zeroed", 0.7, func(x []float64, at, size int, _ *rand.Rand) []float64 {
		out := append([]float64(nil), x...)
		clear(out[at : at+size])
		return out
	}},
	{"buffer repeated", 0.15, func(x []float64, at, size int, _ *rand.Rand) []float64 {
		out := append([]float64(nil), x...)
		copy(out[at+size:], x[at:at+size])
		return out
	}},
	{"one sample wrong", 0.55, func(x []float64, at, _ int, rng *rand.Rand) []float64 {
		out := append([]float64(nil), x...)
		out[at] += 0.25 * math.Copysign(1, rng.NormFloat64())
		return out
	}},
}

// A fault in the middle of a sound that stands 20 dB or more above the noise
// is found more often than not, within 20 ms. Not every one can be: a
// splice may happen to join where the wave goes on as before, a repeated
// buffer shorter than a touch looks like one, and a pluck's own pulses may be
// as rough. Noise bursts and trains of sharp pulses are left out for that.
func TestFaultsAreFound(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(30, 500)
	for _, f := range faults {
		found, drawn := 0, 0
		missed := map[string]int{}
		var places []float64
		for k := range cases {
			rng := rand.New(rand.NewPCG(12, uint64(k)))
			s := randomScene(rng)
			at, ok := s.loudPlace(rng)
			if !ok || s.kind == "noise burst" || s.kind == "pulse train" {
				continue
			}
			drawn++
			size := 32 << rng.IntN(6)
			x := f.damage(s.x, at, min(size, (len(s.x)-at)/3), rng)
			bad := scene{rateHz: s.rateHz, x: x}
			facts := inspect(t, bad.keep(rng)).Channels[0]
			off := placeError(facts.StepsAtS, float64(at)/s.rateHz, float64(size)/s.rateHz)
			switch {
			case off < 0.02:
				found++
				places = append(places, off)
			case facts.AbruptZeros > 0: // 10 ms and longer
				found++
			default:
				missed[s.kind]++
			}
		}
		share := float64(found) / float64(drawn)
		t.Logf("%s: found %d of %d (%.0f %%); place off by %.4f s median, %.4f s worst; missed %v", f.name, found, drawn, 100*share, accuracy.Quantile(places, 0.5), accuracy.Quantile(places, 1), missed)
		if share < f.found-1/math.Sqrt(float64(drawn)) { // two standard deviations for few cases
			t.Errorf("%s: found in %.0f %%, want %.0f %%", f.name, 100*share, 100*f.found)
		}
	}
}

// placeError is how far the nearest step lies outside the damage.
func placeError(steps []float64, fromS, lengthS float64) float64 {
	best := math.Inf(1)
	for _, s := range steps {
		best = math.Min(best, math.Max(0, math.Max(fromS-s, s-fromS-lengthS)))
	}
	return best
}

// loudPlace is a place 20 to 80 ms after an onset where the sound is still
// 20 dB above the noise.
func (s *scene) loudPlace(rng *rand.Rand) (int, bool) {
	for range 20 {
		k := rng.IntN(len(s.onsets))
		at := s.onsets[k] + int((0.02+0.06*rng.Float64())*s.rateHz)
		span := int(0.005 * s.rateHz)
		if at+8*span > len(s.x) || k+1 < len(s.onsets) && at+8*span > s.onsets[k+1] {
			continue
		}
		sum := 0.0
		for i := at - span; i < at+span; i++ {
			d := s.x[i] - s.x[i-1]
			sum += d * d
		}
		if math.Sqrt(sum/float64(2*span)) > 10*math.Sqrt2*s.noise {
			return at, true
		}
	}
	return 0, false
}
