package event

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

func TestPlucksFound(t *testing.T) {
	n := accuracy.Cases(100, 500)
	var onsets, levels []float64
	plucks, found, extra := 0, 0, 0
	for c := range n {
		r := rand.New(rand.NewPCG(2, uint64(c)))
		snr := 20 + 40*r.Float64()
		rate := ratesHz[r.IntN(4)]
		src, want, s := pluckTake(r, rate, snr)
		got, err := Find(context.Background(), src, Pluck)
		if err != nil {
			t.Fatal(err)
		}
		matched := make([]bool, len(got.Events))
		for _, w := range want {
			plucks++
			hit := -1
			for i, e := range got.Events {
				if math.Abs(float64(e.Onset)-w.onset) < 0.02*rate {
					hit = i
				}
			}
			if hit < 0 {
				t.Logf("case %d: snr %.0f rate %.0f %.0f Hz soft %.4f t60 %.1f scrape %.2f: pluck at %.4f s missed", c, snr, rate, s.hz, s.softS, s.t60, s.scrape, w.onset/rate)
				continue
			}
			found++
			matched[hit] = true
			onsets = append(onsets, (float64(got.Events[hit].Onset)-w.onset)/rate*1000)
			l, err := MeasureLevel(src, got.Events[hit], Pluck, got.NoisePower)
			if err != nil {
				t.Logf("case %d: %v", c, err)
				continue
			}
			levels = append(levels, l.RMSDBFS-w.level)
			if oe := onsets[len(onsets)-1]; math.Abs(oe) > 5 || math.Abs(l.RMSDBFS-w.level) > 0.3 {
				t.Logf("case %d: snr %.0f rate %.0f %.0f Hz soft %.4f t60 %.1f at %.4f s: onset off by %.2f ms, level by %.2f dB", c, snr, rate, s.hz, s.softS, s.t60, w.onset/rate, oe, l.RMSDBFS-w.level)
			}
		}
		for i, m := range matched {
			if !m {
				extra++
				t.Logf("case %d: snr %.0f rate %.0f %.0f Hz soft %.4f t60 %.1f scrape %.2f damp %.2f thump %.2f: false event at %.4f s", c, snr, rate, s.hz, s.softS, s.t60, s.scrape, s.dampAt, s.thump, float64(got.Events[i].Onset)/rate)
			}
		}
	}
	t.Logf("plucks %d found %d (%.2f %%) false %d (%.2f %%)", plucks, found, 100*float64(found)/float64(plucks), extra, 100*float64(extra)/float64(plucks))
	accuracy.Report(t, accuracy.Row{Measure: "pluck onset", Range: "20-60 dB", Unit: "ms"}, onsets)
	accuracy.Report(t, accuracy.Row{Measure: "pluck level", Range: "20-60 dB", Unit: "dB"}, levels)
}
