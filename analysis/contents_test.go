package analysis

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"saddlewise/analysis/pitch"
	"saddlewise/analysis/recording"
	"saddlewise/analysis/result"
	"saddlewise/fixtures"
)

// TestContentsOfRenderedTakes holds what takes sound like against what they
// are. Unclear is allowed; a wrong name is not.
func TestContentsOfRenderedTakes(t *testing.T) {
	named, all := 0, 0
	for seed := range uint64(3) {
		s := fixtures.RandomHealthy(rand.New(rand.NewPCG(seed, 3))).Session
		s.RateHz, s.PluckS, s.ToneS = min(s.RateHz, 48000), min(3, s.PluckS), 2.5
		truths, samples := s.Takes()
		for i, k := range truths {
			c, err := contentsOfSamples(t, samples[i], s.RateHz)
			if err != nil {
				t.Fatal(err)
			}
			all++
			if c.Looks == k.Test {
				named++
			} else if c.Looks != "unclear" {
				t.Errorf("seed %d: %s sounds like %s (%s)", seed, k.File, c.Looks, c.Reason)
			}
		}
	}
	t.Logf("%d of %d takes named rightly, the others unclear", named, all)
	if 10*named < 7*all {
		t.Errorf("only %d of %d takes named", named, all)
	}
}

// contentsOfSamples judges samples by way of a file.
func contentsOfSamples(t *testing.T, x []float64, rateHz int) (*result.Contents, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "take.wav")
	if err := fixtures.WriteSamples(path, x, fixtures.Format{RateHz: rateHz, Bits: 32, Channels: 1, Float: true}); err != nil {
		t.Fatal(err)
	}
	take, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer take.Close()
	facts, err := take.Inspect(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return contentsOf(take.Channel(0), facts.Channels[0].Envelope)
}

func TestContentsOfSweepAndSilence(t *testing.T) {
	const rate, seconds = 48000.0, 6.0
	n := int(rate * seconds)
	sweep := make([]float64, n)
	for i := range sweep { // exponential, 20 Hz to 16 kHz (Farina 2000)
		k := math.Log(800)
		sweep[i] = 0.3 * math.Sin(2*math.Pi*20*seconds/k*(math.Exp(float64(i)/rate/seconds*k)-1))
	}
	for _, c := range []struct {
		want string
		x    []float64
	}{
		{"sweep", sweep},
		{"quiet", fixtures.White(n, 1e-4, rand.New(rand.NewPCG(1, 1)))},
		{"unclear", make([]float64, 100)},
	} {
		got, err := contentsOfSamples(t, c.x, rate)
		if err != nil || got.Looks != c.want {
			t.Errorf("got %+v (%v), want %s", got, err, c.want)
		}
	}
}

// TestRattleBetweenPartials: noise of known level between 2 and 8 kHz beside
// a harmonic note is read back.
func TestRattleBetweenPartials(t *testing.T) {
	const rate, f1 = 48000.0, 196.0
	for _, wantDB := range []float64{-20, -35, -50} {
		rng := rand.New(rand.NewPCG(uint64(-wantDB), 1))
		note := make([]float64, int(0.8*rate))
		power := 0.0
		for k := 1.0; k <= 40; k++ {
			power += 0.5 / (k * k)
			phase := 2 * math.Pi * rng.Float64()
			for i := range note {
				note[i] += math.Sin(2*math.Pi*f1*k*float64(i)/rate+phase) / k
			}
		}
		white := fixtures.White(len(note), 1, rng) // 6 of 24 kHz lie in the band
		gain := math.Sqrt(power * math.Pow(10, wantDB/10) * 24 / 6)
		for i, v := range white {
			note[i] += gain * v
		}
		got := rattleOf(note, nil, rate, pitch.Pitch{F1Hz: f1})
		share := 10 * math.Log10(0.75) // of the band lies between the partials, within a decibel
		total := 10 * math.Log10(1+4*math.Pow(10, wantDB/10))
		if got == nil || math.Abs(*got-(wantDB+share-total)) > 1 {
			t.Errorf("noise at %g dB: got %v", wantDB, value(got))
		}
	}
}

func value(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}
