package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"saddlewise/analysis/response"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/fixtures"
)

const sweepCornerHz = 35.0

// sweepStage writes a stage whose pickup is one RC high-pass, closed form.
func sweepStage(t *testing.T, withReference bool) string {
	t.Helper()
	dir := t.TempDir()
	p := response.DefaultSweep(48000)
	p.Seconds = 5
	x, err := response.Sweep(p)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(4, 2))
	write := func(name string, x []float64) {
		if err := fixtures.WriteWAV(filepath.Join(dir, name), fixtures.Quantise(x, 24, rng), 48000, 24, 1); err != nil {
			t.Fatal(err)
		}
	}
	take := append(make([]float64, 31001), x...)
	signal.NewHighPass(48000, sweepCornerHz).Filter(take)
	for i := range take {
		take[i] = 0.4*take[i] + 1e-5*rng.NormFloat64()
	}
	write("sweep-2.wav", take)
	if withReference {
		write("sweep-reference.wav", x)
		writeFile(t, dir, "stage.toml", "[instrument]\nstrings = [\"A3\", \"D3\"]\n")
	} else {
		writeFile(t, dir, "stage.toml", "[instrument]\nstrings = [\"A3\", \"D3\"]\n[stimulus]\nlow_hz = 8.0\nhigh_hz = 22000.0\nseconds = 5.0\n")
	}
	return dir
}

// The truth is the RC high-pass in closed form: -10 log10(1 + (fc/f)^2).
func TestSweepOfAStage(t *testing.T) {
	for name, withReference := range map[string]bool{"reference file": true, "stimulus parameters": false} {
		r, err := Analyze(context.Background(), sweepStage(t, withReference), Options{Tool: "test"})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(r.Sweeps) != 1 || r.Sweeps[0].String != 2 {
			t.Fatalf("%s: got %d sweeps, problems %+v", name, len(r.Sweeps), r.Problems)
		}
		checkCorner(t, name, r.Sweeps[0])
	}
}

func checkCorner(t *testing.T, name string, s result.Sweep) {
	t.Helper()
	if !s.CornerHz.Known() || math.Abs(s.CornerHz.Estimate.Median/sweepCornerHz-1) > 0.02 {
		t.Errorf("%s: corner %+v, want %g Hz", name, s.CornerHz, sweepCornerHz)
	}
	worst := 0.0
	for i, hz := range s.Hz {
		if hz < 20 || hz > 20000 {
			continue
		}
		truth := -10 * math.Log10(1+math.Pow(sweepCornerHz/hz, 2))
		worst = math.Max(worst, math.Abs(s.MagnitudeDB[i]-truth))
	}
	t.Logf("%s: corner %.3f Hz, worst error of the magnitude from 20 Hz to 20 kHz %.4f dB", name, s.CornerHz.Estimate.Median, worst)
	if worst > 0.1 {
		t.Errorf("%s: off by %.3f dB, want 0.1", name, worst)
	}
}

func TestSweepWithoutReferenceSaysSo(t *testing.T) {
	dir := sweepStage(t, false)
	writeFile(t, dir, "stage.toml", "stage = \"wired\"\n")
	_, err := Analyze(context.Background(), dir, Options{Tool: "test"})
	if err == nil {
		t.Fatal("a sweep with nothing to compare it with was measured")
	}
	t.Log(err)
}
