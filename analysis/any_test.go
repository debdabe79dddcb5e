package analysis

import (
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"slices"
	"testing"

	"saddlewise/analysis/recording"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stage"
	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// What the analysis of a stage may allocate in all: a constant and a multiple
// of what its recordings hold as samples of 8 bytes.
const (
	anyConstant = 32 << 20
	anyMultiple = 25
)

// anything draws samples of no particular meaning: silence, steps, noise,
// clicks, tones and full scale, of any length from one sample on.
func anything(r *rand.Rand, rateHz int) []float64 {
	x := make([]float64, 1+int(float64(rateHz)*2*math.Pow(r.Float64(), 3)))
	level := math.Pow(10, -7*r.Float64())
	hz, every := 0.5*float64(rateHz)*math.Pow(10, -4*r.Float64()), 1+r.IntN(len(x))
	kind := r.IntN(8)
	for i := range x {
		switch kind {
		case 1:
			x[i] = level * (2*r.Float64() - 1)
		case 2:
			x[i] = math.Copysign(1, math.Sin(2*math.Pi*hz*float64(i)/float64(rateHz)))
		case 3:
			x[i] = level * math.Sin(2*math.Pi*hz*float64(i)/float64(rateHz))
		case 4:
			x[i] = level * float64((i+1)/every%2)
		case 5:
			if i%every == every/2 {
				x[i] = 1 - 2*float64(i/every%2)
			}
		case 6:
			x[i] = math.Exp(-float64(i%every)/(0.1*float64(every))) * math.Sin(2*math.Pi*hz*float64(i)/float64(rateHz))
		case 7:
			x[i] = 0.3 + level*r.NormFloat64()
		}
	}
	return x
}

// TestAnyRecordingIsMeasured: whatever the takes of a stage hold, the analysis
// ends without an error or a panic and in bounded memory.
func TestAnyRecordingIsMeasured(t *testing.T) {
	worst := 0.0
	for c := range accuracy.Cases(8, 30) {
		r := rand.New(rand.NewPCG(61, uint64(c)))
		dir, samples := t.TempDir(), 0
		rate := []int{1000, 4000, 8000, 11025, 44100, 48000, 96000, 384000, 768000}[r.IntN(9)]
		for _, name := range []string{"tap-1", "tap-2", "pluck-3", "tone-1", "sweep", "sweep-reference", "quiet"} {
			x := anything(r, rate)
			f := fixtures.Format{RateHz: rate, Bits: []int{8, 16, 24, 32}[r.IntN(4)], Channels: 1}
			if f.Bits == 32 {
				f.Float = r.IntN(2) == 0
			}
			if err := fixtures.WriteSamples(filepath.Join(dir, name+".wav"), x, f); err != nil {
				t.Fatal(err)
			}
			samples += len(x)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Analyze(t.Context(), dir, Options{Tool: "test"})
		runtime.ReadMemStats(&after)
		if err != nil && !errors.Is(err, ErrNothingUsable) {
			t.Errorf("case %d: %v", c, err)
		}
		got, bound := after.TotalAlloc-before.TotalAlloc, uint64(anyConstant+anyMultiple*8*samples)
		worst = math.Max(worst, float64(got)/float64(bound))
		if got > bound {
			t.Errorf("case %d: %d samples, %d bytes allocated, bound %d", c, samples, got, bound)
		}
	}
	t.Logf("at most %.0f %% of the bound were allocated", 100*worst)
}

// TestSamplesAreLeftAsTheyAre: measures share the samples of a take, and the
// take the memory with the next.
func TestSamplesAreLeftAsTheyAre(t *testing.T) {
	dir := t.TempDir()
	if _, err := fixtures.Demo(t.Context(), dir, 3); err != nil {
		t.Fatal(err)
	}
	st, err := stage.Read(filepath.Join(dir, "glued"))
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[stage.Test]bool{}
	for _, at := range st.Takes {
		take, err := recording.Open(at.Path)
		if err != nil {
			t.Fatal(err)
		}
		facts, err := take.Inspect(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		src := take.Channel(facts.Chosen)
		shared, ok := src.(signal.Memory)
		if !ok {
			t.Fatalf("%s is not kept", at.File)
		}
		before := slices.Clone(shared.Samples)
		m := measured{at: at}
		if _, err := contentsOf(src, facts.Channels[facts.Chosen].Envelope); err != nil {
			t.Fatal(err)
		}
		if err := m.measureSource(t.Context(), st, src, []float64{50, 100}); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(shared.Samples, before) {
			t.Errorf("%s was changed by being measured", at.File)
		}
		kinds[at.Test] = true
		if err := take.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(kinds) < 5 {
		t.Errorf("only %v were measured", kinds)
	}
}
