package analysis

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// drawn is a random healthy session of the demo's kind: tuning, levels, noise,
// mains, rate and width all differ.
func drawn(seed uint64) fixtures.Session {
	rng := rand.New(rand.NewPCG(seed, 99))
	s := fixtures.DemoStages(seed)[1].Session
	s.RateHz = []int{44100, 48000, 96000}[rng.IntN(3)]
	s.Bits = []int{16, 24}[rng.IntN(2)]
	s.TapPeak *= math.Pow(10, (6*rng.Float64()-5)/20)
	s.HissDBFS += 8 * (rng.Float64() - 0.5)
	mains := []float64{50, 60}[rng.IntN(2)] * (1 + 0.004*(rng.Float64()-0.5))
	humDBFS := -78 + 6*rng.Float64()
	s.Hum = func(r *rand.Rand) fixtures.Hum { return fixtures.ElectricHum(mains, humDBFS, r) }
	for i := range s.Strings {
		str := &s.Strings[i]
		str.Hz *= math.Pow(2, 24*(rng.Float64()-0.5)/1200)
		str.B *= 0.6 + rng.Float64()
		str.T60S *= 0.7 + 0.6*rng.Float64()
		str.Disc.GainDB += 1.5 * rng.NormFloat64()
		str.Disc.Reversed = rng.IntN(5) == 0
	}
	s.Plucks, s.Seed = 2, seed
	return s
}

type errorsOf struct {
	onsetMS, levelDB, f1Cents, bPercent, t60Percent, toneCents, noiseDB, mainsHz, balanceDB []float64
	taps, found, wrongSign, unsure, doubles, doublesFound                                   int
}

// TestDemoModelTruth renders whole stages with known truth, analyses the files
// and compares every quantity.
func TestDemoModelTruth(t *testing.T) {
	var e errorsOf
	for seed := range uint64(accuracy.Cases(2, 12)) {
		s := drawn(seed + 1)
		dir := filepath.Join(t.TempDir(), "stage")
		truths, err := s.Write(context.Background(), dir)
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, dir, "stage.toml", "[instrument]\nstrings = [\"A3\", \"D3\", \"G2\", \"C2\"]\n[capture]\nreference_tone_hz = 440.0\n")
		r, err := Analyze(context.Background(), dir, Options{Tool: "test"})
		if err != nil {
			t.Fatal(err)
		}
		e.compare(t, s, truths, r)
	}
	e.report(t)
}

func writeFile(t *testing.T, dir, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func (e *errorsOf) compare(t *testing.T, s fixtures.Session, truths []fixtures.TakeTruth, r *result.Results) {
	t.Helper()
	byFile := map[string]fixtures.TakeTruth{}
	for _, k := range truths {
		byFile[k.File] = k
	}
	for i, str := range r.Strings {
		if str.Tap == nil || str.Pluck == nil || str.Tone == nil {
			t.Fatalf("string %d: tap, pluck or tone is missing: %+v", str.Number, r.Problems)
		}
		e.compareTaps(r, str, byFile)
		e.comparePluck(r, s.Strings[i], str, byFile)
		for _, v := range str.Tone.Hz.Values {
			e.toneCents = append(e.toneCents, 1200*math.Log2(v.Value/s.ToneHz))
		}
	}
	e.compareBalance(r, byFile)
	for _, q := range r.Quiet {
		truth := byFile[r.Takes[q.Takes[0]].File]
		e.noiseDB = append(e.noiseDB, q.FloorDBFS.Estimate.Median-withConverter(truth.NoiseDBFS, s))
		if q.Hum == nil {
			t.Errorf("seed %d: no hum found in %s", s.Seed, truth.File)
			continue
		}
		e.mainsHz = append(e.mainsHz, q.Hum.MainsHz-truth.MainsHz)
	}
}

// withConverter adds the part below 20 kHz of the noise of rounding with
// triangular dither: 6.0206 N + 1.7609 - 4.7712 dB below a full-scale sine
// (Bennett 1948 for the rounding; dither of two rounding steps' width triples
// its power).
func withConverter(noiseDBFS float64, s fixtures.Session) float64 {
	converter := math.Pow(10, -(6.0206*float64(s.Bits)+1.7609-4.7712)/10)
	share := math.Min(1, 20000/(float64(s.RateHz)/2))
	return 10 * math.Log10(math.Pow(10, noiseDBFS/10)+converter*share)
}

func (e *errorsOf) compareTaps(r *result.Results, str result.String, byFile map[string]fixtures.TakeTruth) {
	level := map[[2]int]float64{}
	for _, v := range str.Tap.LevelDBFS.Values {
		level[[2]int{v.Take, v.Event}] = v.Value
	}
	for _, k := range str.Tap.Takes {
		for _, truth := range byFile[r.Takes[k].File].Events {
			e.taps++
			if truth.Double {
				e.doubles++
			}
			for _, ev := range str.Tap.Events {
				if ev.Take != k || math.Abs(ev.OnsetS-truth.OnsetS) > 0.01 {
					continue
				}
				e.found++
				e.onsetMS = append(e.onsetMS, 1000*(ev.OnsetS-truth.OnsetS))
				switch {
				case truth.Double && ev.DoubleHit:
					e.doublesFound++
				case truth.Double || ev.DoubleHit:
				case ev.Sign == 0:
					e.unsure++
				case ev.Sign != truth.Sign:
					e.wrongSign++
				}
				if v, ok := level[[2]int{k, ev.Event}]; ok && !truth.Double {
					e.levelDB = append(e.levelDB, v-truth.LevelDBFS)
				}
			}
		}
	}
}

func (e *errorsOf) comparePluck(r *result.Results, truth fixtures.StringSpec, str result.String, byFile map[string]fixtures.TakeTruth) {
	for _, v := range str.Pluck.F1Hz.Values {
		e.f1Cents = append(e.f1Cents, 1200*math.Log2(v.Value/truth.Hz))
	}
	for _, v := range str.Pluck.Inharmonicity.Values {
		e.bPercent = append(e.bPercent, 100*(v.Value/truth.B-1))
	}
	for _, v := range str.Pluck.T60S.Values {
		events := byFile[r.Takes[v.Take].File].Events
		e.t60Percent = append(e.t60Percent, 100*(v.Value/events[v.Event].T60S-1))
	}
}

// compareBalance holds the medians of the single taps' true levels against
// the balances.
func (e *errorsOf) compareBalance(r *result.Results, byFile map[string]fixtures.TakeTruth) {
	var medians []float64
	mean := 0.0
	for _, str := range r.Strings {
		var levels []float64
		for _, k := range str.Tap.Takes {
			for _, ev := range byFile[r.Takes[k].File].Events {
				if !ev.Double {
					levels = append(levels, ev.LevelDBFS)
				}
			}
		}
		m := accuracy.Quantile(levels, 0.5)
		medians = append(medians, m)
		mean += m / float64(len(r.Strings))
	}
	for i, str := range r.Strings {
		if str.Tap.BalanceDB.Known() {
			e.balanceDB = append(e.balanceDB, str.Tap.BalanceDB.Estimate.Median-(medians[i]-mean))
		}
	}
}

func (e *errorsOf) report(t *testing.T) {
	t.Helper()
	const where, source = "whole stages of the demo model", "rendered signal, exact"
	for _, q := range []struct {
		measure, unit string
		errs          []float64
		p95           float64
	}{
		{"tap onset, end to end", "ms", e.onsetMS, 0.1},
		{"tap level, end to end", "dB", e.levelDB, 0.1},
		{"tap balance, end to end", "dB", e.balanceDB, 0.2},
		{"fundamental, end to end", "cents", e.f1Cents, 0.5},
		{"inharmonicity, end to end", "%", e.bPercent, 10},
		{"T60, end to end", "%", e.t60Percent, 12},
		{"reference tone, end to end", "cents", e.toneCents, 0.1},
		{"noise floor, end to end", "dB", e.noiseDB, 0.1},
		{"mains frequency, end to end", "Hz", e.mainsHz, 0.05},
	} {
		bound := fmt.Sprintf("95 %% within %g %s", q.p95, q.unit)
		row := accuracy.Report(t, accuracy.Row{Measure: q.measure, Range: where, Unit: q.unit, Bound: bound, Source: source}, q.errs)
		if row.Cases == 0 || row.P95 > q.p95 {
			t.Errorf("%s: 95 %% of %d errors within %g %s, want %g", q.measure, row.Cases, row.P95, q.unit, q.p95)
		}
	}
	t.Logf("taps: %d rendered, %d found; direction wrong %d, cannot tell %d; double hits %d, told %d",
		e.taps, e.found, e.wrongSign, e.unsure, e.doubles, e.doublesFound)
	if e.found < e.taps || e.wrongSign > 0 {
		t.Errorf("found %d of %d taps, %d with the wrong direction", e.found, e.taps, e.wrongSign)
	}
}
