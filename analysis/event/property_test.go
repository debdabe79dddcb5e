package event

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"saddlewise/analysis/signal"
)

// someTake is a random take of taps at 20 to 60 dB.
func someTake(seed uint64, kind Kind) signal.Memory {
	r := rand.New(rand.NewPCG(5, seed))
	snr, rate := 20+40*r.Float64(), ratesHz[r.IntN(2)]
	if kind == Pluck {
		src, _, _ := pluckTake(r, rate, snr)
		return src
	}
	src, _ := tapTake{taps: 3, snrDB: snr, doubles: 0.2, gapS: 0.3, noise: true, undamped: true}.render(r, randomBench(r, rate))
	return src
}

func mustFind(t *testing.T, src signal.Source, kind Kind) Found {
	t.Helper()
	found, err := Find(context.Background(), src, kind)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func scaledTake(src signal.Memory, gain float64) signal.Memory {
	x := slices.Clone(src.Samples)
	for i := range x {
		x[i] *= gain
	}
	return signal.Memory{Samples: x, SampleRate: src.SampleRate}
}

// Powers of two scale without rounding, so the events must be the very same.
func TestScaleAndSign(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		for _, kind := range []Kind{Tap, Pluck} {
			src := someTake(seed, kind)
			want := mustFind(t, src, kind)
			for _, gain := range []float64{1.0 / 1024, -1, 4} {
				other := scaledTake(src, gain)
				got := mustFind(t, other, kind)
				if len(got.Events) != len(want.Events) {
					t.Fatalf("seed %d, gain %g: %d %ss, unscaled %d", seed, gain, len(got.Events), kind, len(want.Events))
				}
				for i, e := range got.Events {
					w := want.Events[i]
					if e.Onset != w.Onset || e.End != w.End || e.DoubleHit != w.DoubleHit {
						t.Errorf("seed %d, gain %g: %+v, unscaled %+v", seed, gain, e, w)
					}
					sameMotion(t, src, other, w, e, want.NoisePower, got.NoisePower, gain)
				}
			}
		}
	}
}

func sameMotion(t *testing.T, a, b signal.Source, ea, eb Event, noiseA, noiseB, gain float64) {
	t.Helper()
	ma, err := FirstMotion(a, ea, noiseA)
	if err != nil {
		t.Fatal(err)
	}
	mb, err := FirstMotion(b, eb, noiseB)
	if err != nil {
		t.Fatal(err)
	}
	sign := 1
	if gain < 0 {
		sign = -1
	}
	if mb.Sign != sign*ma.Sign || math.Abs(mb.PeakFS-gain*ma.PeakFS) > 1e-9*math.Abs(mb.PeakFS) {
		t.Errorf("gain %g: sign %d of %d, peak %g of %g", gain, mb.Sign, ma.Sign, mb.PeakFS, ma.PeakFS)
	}
}

// A later start of the recording, by any number of samples, moves the events
// by as much.
func TestShift(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		for _, kind := range []Kind{Tap, Pluck} {
			src := someTake(seed, kind)
			want := mustFind(t, src, kind)
			cut := 1 + int(97*seed)
			got := mustFind(t, signal.Memory{Samples: src.Samples[cut:], SampleRate: src.SampleRate}, kind)
			if len(got.Events) != len(want.Events) {
				t.Fatalf("seed %d, cut %d: %d %ss of %d", seed, cut, len(got.Events), kind, len(want.Events))
			}
			for i, e := range got.Events {
				w := want.Events[i]
				if d := math.Abs(float64(e.Onset + int64(cut) - w.Onset)); d > 2+3*w.OnsetSDSamples || e.DoubleHit != w.DoubleHit {
					t.Errorf("seed %d, cut %d, %s %d: onset moved by %g samples (sd %.1f), double %v of %v", seed, cut, kind, i, d, w.OnsetSDSamples, e.DoubleHit, w.DoubleHit)
				}
			}
		}
	}
}

// Two takes one after the other hold the events of both.
func TestConcatenation(t *testing.T) {
	t.Parallel()
	tap := plainTap()
	var parts [2][]float64
	for k := range parts {
		parts[k] = hiss(uint64(20+k), 4*len(tap), 1e-4)
		for j := range 3 {
			addAt(parts[k], tap, (j*len(tap))+1000*(k+1), 0.3+0.1*float64(j))
		}
	}
	a, b := find(t, parts[0], Tap), find(t, parts[1], Tap)
	both := find(t, append(slices.Clone(parts[0]), parts[1]...), Tap)
	if len(both.Events) != len(a.Events)+len(b.Events) || len(a.Events) != 3 {
		t.Fatalf("%d and %d events, together %d", len(a.Events), len(b.Events), len(both.Events))
	}
	for i, e := range both.Events {
		want := int64(0)
		if i < 3 {
			want = a.Events[i].Onset
		} else {
			want = b.Events[i-3].Onset + int64(len(parts[0]))
		}
		if d := e.Onset - want; d < -2 || d > 2 {
			t.Errorf("event %d moved by %d samples", i, d)
		}
	}
}

// The blocks in which a source hands out its samples do not matter: a take
// longer than one read holds what its parts hold.
func TestLongTakeNoise(t *testing.T) {
	t.Parallel()
	sd := 1e-3
	found := find(t, with(hiss(31, int(30*edgeRateHz), sd), adding(plainTap(), int(15*edgeRateHz), 0.4)), Tap)
	if len(found.Events) != 1 {
		t.Fatalf("%d events, want 1", len(found.Events))
	}
	// White noise of standard deviation sd has the AES17 level 20 lg sd + 3.01.
	if want := 20*math.Log10(sd) + 3.01; math.Abs(found.NoiseDBFS-want) > 0.1 {
		t.Errorf("noise %.2f dBFS, drawn at %.2f", found.NoiseDBFS, want)
	}
}

func FuzzFind(f *testing.F) {
	f.Add([]byte{0, 1, 2, 255, 128, 7}, uint16(48000), false)
	f.Add([]byte{255, 255, 0, 0, 0}, uint16(8000), true)
	f.Fuzz(func(t *testing.T, data []byte, rate uint16, pluck bool) {
		x := make([]float64, 0, 40*len(data))
		for i, b := range data { // each byte is 40 samples of a ramp or a level
			for j := range 40 {
				v := float64(int(b)-128) / 128
				if i%3 == 0 {
					v *= float64(j) / 40
				}
				x = append(x, v)
			}
		}
		kind := Tap
		if pluck {
			kind = Pluck
		}
		src := signal.Memory{Samples: x, SampleRate: max(4000, float64(rate))}
		found, err := Find(context.Background(), src, kind)
		if err != nil {
			t.Fatal(err)
		}
		last := int64(-1)
		for _, e := range found.Events {
			if e.Onset <= last || e.Onset >= src.Len() || e.End <= e.Onset || e.End > e.Limit || e.Limit > src.Len() || e.Prior > e.Onset {
				t.Fatalf("event out of order or range: %+v of %d", e, src.Len())
			}
			last = e.Onset
			if m, err := FirstMotion(src, e, found.NoisePower); err != nil || m.Sign*m.Sign > 1 {
				t.Fatalf("motion %+v, %v", m, err)
			}
			_, _ = MeasureLevel(src, e, kind, found.NoisePower)
		}
	})
}
