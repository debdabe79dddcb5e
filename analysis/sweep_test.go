package analysis

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
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
		writeFile(t, dir, "stage.toml", "[instrument]\nstrings = [\"A3\", \"D3\"]\n[pickup]\ndiscs = 2\ndisc_nf = 20.0\ncable_pf = 300.0\ninput_ohm = 224e3\n")
	} else {
		writeFile(t, dir, "stage.toml", "[instrument]\nstrings = [\"A3\", \"D3\"]\n[pickup]\ndiscs = 2\ndisc_nf = 20.0\ncable_pf = 300.0\ninput_ohm = 224e3\n[stimulus]\nlow_hz = 8.0\nhigh_hz = 22000.0\nseconds = 5.0\n")
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
		if slices.ContainsFunc(r.Findings, func(f result.Finding) bool { return f.ID == "clipped" }) {
			t.Errorf("%s: a clean sweep is called clipped", name)
		}
		checkCause(t, name, r.Sweeps[0].CornerCause)
	}
}

func checkCorner(t *testing.T, name string, s result.Sweep) {
	t.Helper()
	if !s.CornerHz.Known() || math.Abs(s.CornerHz.Estimate.Median/sweepCornerHz-1) > 0.02 {
		t.Errorf("%s: corner %+v, want %g Hz", name, s.CornerHz, sweepCornerHz)
	}
	worst, at := 0.0, 0.0
	for i, hz := range s.Hz {
		if hz < 20 || hz > 20000 {
			continue
		}
		truth := -10 * math.Log10(1+math.Pow(sweepCornerHz/hz, 2))
		if off := math.Abs(s.MagnitudeDB[i] - truth); off > worst {
			worst, at = off, hz
		}
	}
	t.Logf("%s: corner %.3f Hz, worst error of the magnitude from 20 Hz to 20 kHz %.4f dB at %.0f Hz", name, s.CornerHz.Estimate.Median, worst, at)
	if worst > 0.1 {
		t.Errorf("%s: off by %.3f dB, want 0.1", name, worst)
	}
}

// 35 Hz are 112.8 kohm across two discs of 20 nF and 300 pF, or 224 kohm
// across one: 1/(2 pi R C).
func checkCause(t *testing.T, name string, c *result.CornerCause) {
	t.Helper()
	if c == nil || !c.OhmAcross.Known() || math.Abs(c.OhmAcross.Estimate.Median/112.84e3-1) > 0.02 {
		t.Fatalf("%s: cause %+v", name, c)
	}
	// Discs that may be 30 % off leave that much of the resistance open.
	if iv := c.OhmAcross.Estimate.Interval; math.Abs(iv.Low/112.84e3-40.3/52.3) > 0.03 || math.Abs(iv.High/112.84e3-40.3/28.3) > 0.03 {
		t.Errorf("%s: from %.0f to %.0f ohm", name, iv.Low, iv.High)
	}
	for _, w := range c.WorkingDiscs {
		if w.Fits != (w.Count == 1) {
			t.Errorf("%s: %d working discs explain 35 Hz: %v", name, w.Count, w.Fits)
		}
	}
}

// A response that reaches below the sweep leaves a bound.
func TestCornerBelowTheSweep(t *testing.T) {
	p := result.Pickup{Discs: 4, Wiring: "parallel", DiscNF: 20, CablePF: 300, InputOhm: 1e6}
	c := cornerCause(p, response.Corner{Reason: "too low", BelowHz: 5})
	if c == nil || c.OhmAcross.Known() || c.OhmAcross.Reason == "" {
		t.Fatalf("cause %+v", c)
	}
	// 1/(2 pi 1 Mohm C): 2.0, 2.6, 4.0, 7.8 and 530 Hz for four to no discs.
	for _, w := range c.WorkingDiscs {
		if w.Fits != (w.Count >= 2) {
			t.Errorf("%d working discs, %.1f Hz: fits %v", w.Count, w.CornerHz, w.Fits)
		}
	}
	if cornerCause(p, response.Corner{Reason: "no corner"}) != nil || cornerCause(result.Pickup{}, response.Corner{BelowHz: 5}) != nil {
		t.Error("a cause for no corner, or of no pickup")
	}
}

// A sweep to 22 kHz that was played at 48 kHz and recorded at 44.1 kHz.
func TestSweepRecordedAtALowerRate(t *testing.T) {
	const rate = 44100
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(4, 3))
	take := fixtures.Stimulus{LowHz: 8, HighHz: 22000, Seconds: 5, Peak: 0.5}.Force(rate)
	signal.NewHighPass(rate, sweepCornerHz).Filter(take)
	for i := range take {
		take[i] = 0.2*take[i] + 1e-5*rng.NormFloat64()
	}
	if err := fixtures.WriteWAV(filepath.Join(dir, "sweep.wav"), fixtures.Quantise(take, 24, rng), rate, 24, 1); err != nil {
		t.Fatal(err)
	}
	writeFile(t, dir, "stage.toml", "[stimulus]\nlow_hz = 8\nhigh_hz = 22000\nseconds = 5\n")
	r, err := Analyze(context.Background(), dir, Options{Tool: "test"})
	if err != nil {
		t.Fatal(err)
	}
	checkCorner(t, "44.1 kHz", r.Sweeps[0])
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
