package event

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"saddlewise/fixtures/accuracy"
)

func TestPlucksFound(t *testing.T) {
	t.Parallel()
	var onsets, levels []float64
	plucks, found, extra := 0, 0, 0
	for c := range accuracy.Cases(8, 250) {
		r := rand.New(rand.NewPCG(2, uint64(c)))
		snr, rate := 20+40*r.Float64(), ratesHz[r.IntN(4)]
		src, want, s := pluckTake(r, rate, snr)
		got := mustFind(t, src, Pluck)
		matched := make([]bool, len(got.Events))
		for _, w := range want {
			plucks++
			hit := slices.IndexFunc(got.Events, func(e Event) bool { return math.Abs(float64(e.Onset)-w.onset) < 0.02*rate })
			if hit < 0 {
				t.Logf("case %d, %.0f dB, %.0f Hz, %+v: pluck at %.4f s missed", c, snr, rate, s, w.onset/rate)
				continue
			}
			found++
			matched[hit] = true
			onsets = append(onsets, (float64(got.Events[hit].Onset)-w.onset)/rate*1000)
			l, err := MeasureLevel(src, got.Events[hit], Pluck, got.NoisePower)
			if err != nil {
				t.Errorf("case %d: %v", c, err)
				continue
			}
			levels = append(levels, l.RMSDBFS-w.level)
		}
		for i, m := range matched {
			if !m {
				extra++
				t.Logf("case %d, %.0f dB, %.0f Hz, %+v: false event at %.4f s", c, snr, rate, s, float64(got.Events[i].Onset)/rate)
			}
		}
	}
	t.Logf("of %d plucks %d found, %d false", plucks, found, extra)
	if float64(found) < 0.995*float64(plucks) || float64(extra) > 0.005*float64(plucks) {
		t.Error("want 99.5 % found and under 0.5 % false")
	}
	const ranges = "20-60 dB SNR, 30-900 Hz, soft release, scrape, damping by hand"
	if row := accuracy.Report(t, accuracy.Row{Measure: "pluck onset", Range: ranges, Unit: "ms", Bound: "95 % within 3 ms", Source: "rendered release"}, onsets); row.P95 > 3 {
		t.Error("onsets off")
	}
	if row := accuracy.Report(t, accuracy.Row{Measure: "pluck level", Range: ranges, Unit: "dB", Bound: "95 % within 0.1 dB", Source: "exact level of the rendered notes"}, levels); row.P95 > 0.1 {
		t.Error("levels off")
	}
}
