package event

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"saddlewise/analysis/signal"
)

// Lent memory holds what came before: a take's results are the same to the last
// digit whatever was measured with it.
func TestResultsDoNotDependOnWhatCameBefore(t *testing.T) {
	takes := make([]signal.Memory, 60)
	for i := range takes {
		r := rand.New(rand.NewPCG(uint64(i), 9))
		rate := []float64{9999, 11025, 22050}[i%3]
		x := make([]float64, int((1+3*r.Float64())*rate))
		for k := range x {
			x[k] = 2e-4*r.NormFloat64() + 0.003*r.Float64()*math.Sin(2*math.Pi*50*float64(k)/rate)
		}
		for at := int(0.5 * rate); at < len(x); at += int((0.3 + r.Float64()) * rate) {
			level, hz := 0.1+r.Float64(), 150+2000*r.Float64()
			for k := range x[at:] {
				s := float64(k) / rate
				x[at+k] += level * math.Sin(2*math.Pi*hz*s) * math.Exp(-20*s)
			}
		}
		takes[i] = signal.Memory{Samples: x, SampleRate: rate}
	}
	measure := func(src signal.Memory) string {
		found, err := Find(t.Context(), src, Tap)
		said := fmt.Sprint(found.NoisePower, err)
		for _, e := range found.Events {
			level, motion, levelErr, err := MeasureTap(src, e, found.NoisePower)
			said += fmt.Sprint(e.Onset, e.OnsetSDSamples, level, motion, levelErr, err)
		}
		return said
	}
	alone := make([]string, len(takes))
	fresh := scratches.New
	for i, src := range takes {
		scratches = sync.Pool{New: fresh}
		alone[i] = measure(src)
	}
	for i, src := range slices.Backward(takes) {
		if measure(src) != alone[i] {
			t.Errorf("take %d: other results after other takes", i)
		}
	}
}
