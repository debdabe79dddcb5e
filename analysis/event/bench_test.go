package event

import (
	"context"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
)

// BenchmarkFind reads a take of taps half a second to a second apart, and one
// of notes; divide ns/op by the samples, given as ns/sample.
func BenchmarkFind(b *testing.B) {
	for _, kind := range []Kind{Tap, Pluck} {
		r := rand.New(rand.NewPCG(3, 3))
		var src signal.Memory
		if kind == Tap {
			src, _ = tapTake{taps: 20, snrDB: 45, gapS: 0.6, noise: true, undamped: true}.render(r, randomBench(r, 48000))
		} else {
			src, _, _ = pluckTake(r, 48000, 45)
		}
		b.Run(kind.String(), func(b *testing.B) {
			for b.Loop() {
				if _, err := Find(context.Background(), src, kind); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(src.Len()), "ns/sample")
		})
	}
}
