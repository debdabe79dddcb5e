package analysis

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// drivenTones writes a take of a steady driven tone for each string, with the
// levels and harmonics given, and returns each take's THD in dB.
func drivenTones(t *testing.T, dir string, levelsDBFS []float64, harmonicsDB [][]float64, rng *rand.Rand) (thd []float64) {
	t.Helper()
	rate := []int{44100, 48000, 96000}[rng.IntN(3)]
	hz := 100 + 500*rng.Float64()
	for i, level := range levelsDBFS {
		tone := fixtures.ReferenceTone{Hz: hz, HarmonicsDB: harmonicsDB[i], Phase: 6 * rng.Float64()}
		x := tone.Render(float64(rate), 3)
		fixtures.Scale(x, math.Pow(10, level/20))
		for n, edge := 0, rate/20; n < edge; n++ { // as stimulus tone fades
			gain := 0.5 - 0.5*math.Cos(math.Pi*float64(n)/float64(edge))
			x[n] *= gain
			x[len(x)-1-n] *= gain
		}
		whole := fixtures.White(len(x)+2*rate, 1e-5, rng)
		fixtures.Mix(whole, x, 1, rate)
		name := filepath.Join(dir, fmt.Sprintf("tone-%d.wav", i+1))
		if err := fixtures.WriteWAV(name, fixtures.Quantise(whole, 24, rng), rate, 24, 1); err != nil {
			t.Fatal(err)
		}
		thd = append(thd, tone.THDDB())
	}
	writeFile(t, dir, "stage.toml", fmt.Sprintf("[instrument]\nstrings = [\"A3\", \"D3\", \"G2\", \"C2\"]\n[capture]\nreference_tone_hz = %.3f\n", hz))
	return thd
}

// Level and distortion of every string, and the one string whose distortion
// stands out of its neighbours'. Truth: drawn amplitudes.
func TestTonesOfAStage(t *testing.T) {
	t.Parallel()
	var levels, distortions []float64
	for i := range accuracy.Cases(3, 40) {
		rng := rand.New(rand.NewPCG(44, uint64(i)))
		level, harmonics := make([]float64, 4), make([][]float64, 4)
		loose := rng.IntN(5) - 1 // -1: none
		for k := range level {
			level[k] = -25 + 6*rng.Float64()
			harmonics[k] = []float64{-60 - 4*rng.Float64(), -66 - 4*rng.Float64()}
			if k == loose {
				harmonics[k] = []float64{-42 + 4*rng.Float64(), -36 + 4*rng.Float64(), -48}
			}
		}
		dir := t.TempDir()
		thd := drivenTones(t, dir, level, harmonics, rng)
		r, err := Analyze(context.Background(), dir, Options{Tool: "test"})
		if err != nil {
			t.Fatal(err)
		}
		for k, s := range r.Strings {
			if s.Tone == nil || !s.Tone.LevelDBFS.Known() || !s.Tone.THDDB.Known() {
				t.Fatalf("case %d: string %d has no tone", i, k+1)
			}
			levels = append(levels, s.Tone.LevelDBFS.Estimate.Median-level[k])
			distortions = append(distortions, s.Tone.THDDB.Estimate.Median-thd[k])
		}
		if got := stringsOf(r, "tone distorted"); !slices.Equal(got, told(loose)) {
			t.Errorf("case %d: distortion told of strings %v, want %v", i, got, told(loose))
		}
	}
	checkTones(t, levels, distortions)
}

func checkTones(t *testing.T, levels, distortions []float64) {
	t.Helper()
	row := accuracy.Row{Measure: "driven tone level", Range: "100-600 Hz, -25 to -19 dBFS, whole stages", Unit: "dB", Bound: "95 % within 0.1 dB", Source: "drawn amplitudes"}
	if got := accuracy.Report(t, row, levels); got.P95 > 0.1 {
		t.Errorf("level: 95 %% within %.3f dB", got.P95)
	}
	row.Measure, row.Bound = "driven tone THD", "95 % within 0.5 dB"
	row.Range = "THD of -35 to -62 dB, noise 75 dB down, whole stages"
	if got := accuracy.Report(t, row, distortions); got.P95 > 0.5 {
		t.Errorf("distortion: 95 %% within %.2f dB", got.P95)
	}
}

func told(loose int) []int {
	if loose < 0 {
		return nil
	}
	return []int{loose + 1}
}

// stringsOf are the strings that findings of that id are about.
func stringsOf(r *result.Results, id string) []int {
	var out []int
	for _, f := range r.Findings {
		if f.ID == id {
			out = append(out, f.Strings...)
		}
	}
	return out
}
