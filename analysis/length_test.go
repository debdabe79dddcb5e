package analysis

import (
	"context"
	"fmt"
	"io"
	"math"
	"runtime"
	"sync/atomic"
	"testing"

	"saddlewise/analysis/noise"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/tone"
	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// repeated plays one take again and again and counts the samples read.
type repeated struct {
	once  []float64
	times int64
	rate  float64
	read  *atomic.Int64
}

func (r repeated) Rate() float64 { return r.rate }
func (r repeated) Len() int64    { return int64(len(r.once)) * r.times }

func (r repeated) ReadAt(dst []float64, first int64) (int, error) {
	n := int(min(int64(len(dst)), max(0, r.Len()-first)))
	for done := 0; done < n; {
		done += copy(dst[done:n], r.once[(first+int64(done))%int64(len(r.once)):])
	}
	r.read.Add(int64(n))
	if n < len(dst) {
		return n, io.EOF
	}
	return n, nil
}

// eachKind gives the first take of every kind of test that is measured sample by
// sample, and what measures it.
func eachKind(use func(kind stage.Test, rate float64, take []float64, measure func(context.Context, signal.Source) error)) {
	measures := map[stage.Test]func(context.Context, signal.Source) error{
		stage.Tap: func(ctx context.Context, src signal.Source) error {
			_, err := measureTaps(ctx, src, 3, false)
			return err
		},
		stage.Pluck: func(ctx context.Context, src signal.Source) error {
			_, err := measurePlucks(ctx, src, nil, false)
			return err
		},
		stage.Tone: func(ctx context.Context, src signal.Source) error {
			_, err := tone.Measure(ctx, src, tone.Options{NominalHz: 440})
			return err
		},
		stage.Quiet: func(ctx context.Context, src signal.Source) error {
			_, err := noise.Measure(ctx, src, noise.Options{})
			return err
		},
	}
	s := fixtures.DemoStages(1)[1].Session
	truths, takes := s.Takes()
	for i, truth := range truths {
		kind := stage.Test(truth.Test)
		if measure := measures[kind]; measure != nil {
			delete(measures, kind)
			use(kind, float64(s.RateHz), takes[i], measure)
		}
	}
}

// The work for a sample does not grow with the recording: neither how often it
// is read nor the memory that passes.
func TestWorkIsLinearInLength(t *testing.T) {
	kinds := 0
	eachKind(func(kind stage.Test, rate float64, take []float64, measure func(context.Context, signal.Source) error) {
		kinds++
		cost := func(times int64) (reads, bytes float64) {
			var before, after runtime.MemStats
			src := repeated{take, times, rate, new(atomic.Int64)}
			runtime.ReadMemStats(&before)
			if err := measure(t.Context(), src); err != nil {
				t.Fatalf("%s: %v", kind, err)
			}
			runtime.ReadMemStats(&after)
			n := float64(src.Len())
			return float64(src.read.Load()) / n, float64(after.TotalAlloc-before.TotalAlloc) / n
		}
		few := int64(3)
		many := few * int64(accuracy.Cases(4, 16))
		reads, bytes := cost(few)
		moreReads, moreBytes := cost(many)
		t.Logf("%s of %.0f s: a sample is read %.2f times and costs %.1f bytes; %d times as long: %.2f times, %.1f bytes",
			kind, float64(few)*float64(len(take))/rate, reads, bytes, many/few, moreReads, moreBytes)
		if moreReads > 1.1*reads || moreBytes > 1.1*bytes {
			t.Errorf("%s: a longer recording costs more a sample", kind)
		}
	})
	if kinds != 4 {
		t.Errorf("%d kinds measured, want 4", kinds)
	}
}

// BenchmarkLength tells what a sample costs in takes of one, four and sixteen
// minutes.
func BenchmarkLength(b *testing.B) {
	eachKind(func(kind stage.Test, rate float64, take []float64, measure func(context.Context, signal.Source) error) {
		for _, minutes := range []float64{1, 4, 16} {
			b.Run(fmt.Sprintf("%s of %.0f minutes", kind, minutes), func(b *testing.B) {
				src := repeated{take, int64(math.Ceil(60 * minutes * rate / float64(len(take)))), rate, new(atomic.Int64)}
				for b.Loop() {
					if err := measure(b.Context(), src); err != nil {
						b.Fatal(err)
					}
				}
				perSample := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / float64(src.Len())
				b.ReportMetric(perSample, "ns/sample")
			})
		}
	})
}
