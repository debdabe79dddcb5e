package event

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures"
)

const edgeRateHz = 48000.0

// plainTap is a 1 ms contact with a bridge mode, one second long.
func plainTap() []float64 {
	b := bench{rate: edgeRateHz, cornerHz: 20, sign: 1, direct: 1, contactS: 0.001, shape: 1,
		modesHz: []float64{310, 900}, modesT60: []float64{0.12, 0.06}, modesGain: []float64{0.3, 0.25}}
	return b.tap(int(edgeRateHz), 0, 1)
}

func plainNote(hz, t60 float64, seconds float64) []float64 {
	s := plucked{rate: edgeRateHz, hz: hz, t60: t60, position: 0.2, softS: 5e-4, cornerHz: 10, sign: 1, pullS: 0.05}
	return s.note(rand.New(rand.NewPCG(9, 9)), int(seconds*edgeRateHz), int(0.2*edgeRateHz))
}

// hiss is n samples of white noise.
func hiss(seed uint64, n int, sd float64) []float64 {
	return fixtures.White(n, sd, rand.New(rand.NewPCG(77, seed)))
}

func sine(n int, hz, amplitude float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*hz*float64(i)/edgeRateHz)
	}
	return x
}

func find(t *testing.T, x []float64, kind Kind) Found {
	t.Helper()
	found, err := Find(context.Background(), signal.Memory{Samples: x, SampleRate: edgeRateHz}, kind)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func with(x []float64, more ...func([]float64)) []float64 {
	for _, m := range more {
		m(x)
	}
	return x
}

func adding(y []float64, at int, gain float64) func([]float64) {
	return func(x []float64) { addAt(x, y, at, gain) }
}

func TestTakesWithoutEvents(t *testing.T) {
	t.Parallel()
	n := int(4 * edgeRateHz)
	step := make([]float64, n)
	for i := range step {
		step[i] = 0.3
	}
	click := with(hiss(3, n, 1e-4), adding([]float64{0.9}, n/2, 1))
	gate := hiss(4, n, 1e-3)
	for i := range n / 2 {
		gate[i] = 0
	}
	swell := sine(n, 220, 0.2)
	for i := range swell {
		swell[i] *= 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	for name, x := range map[string][]float64{
		"empty":             nil,
		"one sample":        {0.5},
		"ten samples":       make([]float64, 10),
		"silence":           make([]float64, n),
		"DC":                step,
		"noise":             hiss(1, 20*n, 0.01),
		"loud noise":        hiss(2, n, 0.3),
		"tone":              sine(n, 440, 0.5),
		"low tone":          sine(n, 41, 0.5),
		"tone in noise":     with(hiss(5, n, 1e-3), adding(sine(n, 440, 0.2), 0, 1)),
		"hum":               with(hiss(6, n, 1e-4), adding(sine(n, 50, 0.1), 0, 1), adding(sine(n, 150, 0.05), 0, 1)),
		"swelling tone":     with(hiss(7, n, 1e-4), adding(swell, 0, 1)),
		"one-sample click":  click,
		"gate that opens":   gate,
		"beating tones":     with(hiss(8, n, 1e-5), adding(sine(n, 440, 0.3), 0, 1), adding(sine(n, 441.3, 0.3), 0, -1)),
		"two-sample glitch": with(hiss(9, n, 1e-4), adding([]float64{0.9, -0.9}, n/2, 1)),
	} {
		for _, kind := range []Kind{Tap, Pluck} {
			if got := find(t, x, kind); len(got.Events) != 0 {
				t.Errorf("%s: %d %ss found, want none: %+v", name, len(got.Events), kind, got.Events)
			}
		}
	}
}

func TestTapAtTheEdges(t *testing.T) {
	t.Parallel()
	tap := plainTap()
	n := len(tap)

	first := find(t, with(hiss(1, 2*n, 1e-4), adding(tap, 0, 0.5)), Tap)
	if len(first.Events) != 1 || !first.Events[0].TruncatedStart || first.Events[0].Onset > 48 {
		t.Errorf("tap at sample 0: %+v, want one with its start cut", first.Events)
	}
	clean := find(t, with(make([]float64, 2*n), adding(tap, 0, 0.5)), Tap)
	if len(clean.Events) != 1 || clean.Events[0].Onset > 2 {
		t.Errorf("tap at sample 0 of silence: %+v", clean.Events)
	}

	x := with(hiss(2, n, 1e-4), adding(tap, n-int(0.03*edgeRateHz), 0.5))
	src := signal.Memory{Samples: x, SampleRate: edgeRateHz}
	last := find(t, x, Tap)
	if len(last.Events) != 1 || !last.Events[0].TruncatedEnd {
		t.Fatalf("tap cut by the end: %+v, want one with its end cut", last.Events)
	}
	if _, err := MeasureLevel(src, last.Events[0], Tap, last.NoisePower); !errors.Is(err, ErrCutShort) {
		t.Errorf("level of a tap cut after 30 ms: %v, want ErrCutShort", err)
	}
	if m, err := FirstMotion(src, last.Events[0], last.NoisePower); err != nil || m.Sign != 1 {
		t.Errorf("first motion of a tap cut after 30 ms: %d, %v, want +1", m.Sign, err)
	}
}

func TestGatedTaps(t *testing.T) {
	t.Parallel()
	tap := plainTap()
	x := make([]float64, 5*len(tap))
	noise := hiss(1, len(tap), 1e-4)
	for k, gain := range []float64{0.5, 0.4, 0.6, 0.45} {
		at := len(tap)*k + len(tap)/3
		addAt(x, tap[:len(tap)/2], at, gain)
		addAt(x, noise[:len(tap)/2], at-30, 1)
	}
	got := find(t, x, Tap)
	if len(got.Events) != 4 || got.NoisePower != 0 || got.NoiseDBFS != SilenceDBFS {
		t.Fatalf("%d events, noise %g: want 4 in silence", len(got.Events), got.NoiseDBFS)
	}
	for k, e := range got.Events {
		if d := e.Onset - int64(len(tap)*k+len(tap)/3); d < -31 || d > 5 {
			t.Errorf("event %d is %d samples late", k, d)
		}
	}
}

func TestPluckAtTheEdges(t *testing.T) {
	t.Parallel()
	note := plainNote(110, 3, 3.2)
	at := int(0.2 * edgeRateHz)
	first := find(t, with(hiss(1, len(note)-at, 1e-4), adding(note[at:], 0, 0.3)), Pluck)
	if len(first.Events) != 1 || !first.Events[0].TruncatedStart {
		t.Errorf("pluck at sample 0: %+v, want one with its start cut", first.Events)
	}
	x := with(hiss(2, at+int(0.4*edgeRateHz), 1e-4), adding(note, 0, 0.3))
	last := find(t, x, Pluck)
	if len(last.Events) != 1 || !last.Events[0].TruncatedEnd {
		t.Fatalf("pluck cut by the end: %+v, want one with its end cut", last.Events)
	}
	_, err := MeasureLevel(signal.Memory{Samples: x, SampleRate: edgeRateHz}, last.Events[0], Pluck, last.NoisePower)
	if !errors.Is(err, ErrCutShort) {
		t.Errorf("level of a pluck cut after 400 ms: %v, want ErrCutShort", err)
	}
}

func TestTwoTapsAreNotADoubleHit(t *testing.T) {
	t.Parallel()
	tap := plainTap()
	for _, gapMS := range []float64{5, 8, 15, 30, 60, 250, 300, 500} {
		gap := int(gapMS / 1000 * edgeRateHz)
		got := find(t, with(hiss(1, 3*len(tap), 1e-4), adding(tap, len(tap)/2, 0.5), adding(tap, len(tap)/2+gap, 0.3)), Tap)
		want := 1
		if gapMS >= 250 {
			want = 2
		}
		if len(got.Events) != want {
			t.Errorf("contacts %g ms apart: %d events, want %d", gapMS, len(got.Events), want)
			continue
		}
		if e := got.Events[0]; e.DoubleHit != (want == 1) || want == 1 && math.Abs(e.SecondContactS*1000-gapMS) > 2 {
			t.Errorf("contacts %g ms apart: double %v at %.1f ms", gapMS, e.DoubleHit, e.SecondContactS*1000)
		}
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	src := signal.Memory{Samples: make([]float64, 100), SampleRate: edgeRateHz}
	if _, err := Find(context.Background(), src, Kind(7)); err == nil {
		t.Error("unknown kind accepted")
	}
	if _, err := Find(context.Background(), signal.Memory{SampleRate: 100}, Tap); err == nil {
		t.Error("rate of 100 Hz accepted")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Find(ctx, src, Tap); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// Noise 10 dB down would add 10 lg 1.1 = 0.41 dB.
func TestNoisePowerIsSubtracted(t *testing.T) {
	t.Parallel()
	tap := plainTap()
	window := tap[:int(TapWindowS*edgeRateHz)]
	power := floats.Dot(window, window) / float64(len(window))
	noise := power / 10
	var errs []float64
	for seed := range uint64(40) {
		x := with(hiss(seed, 2*len(tap), math.Sqrt(noise)), adding(tap, len(tap), 1))
		l, err := MeasureLevel(signal.Memory{Samples: x, SampleRate: edgeRateHz}, Event{Onset: int64(len(tap))}, Tap, noise)
		if err != nil {
			t.Fatal(err)
		}
		errs = append(errs, l.RMSDBFS-dbfs(power))
	}
	if m := middle(errs); math.Abs(m) > 0.1 {
		t.Errorf("median error %.3f dB", m)
	}
}

func TestFlatTop(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		x    []float64
		want bool
	}{
		{[]float64{0, 0.5, 0.5, 0.5, 0.1}, true},
		{[]float64{0, 0.5, 0.5, 0.1, 0.5}, false},
		{[]float64{0.3, -0.9, -0.9, -0.9}, true},
		{[]float64{0, 0.5, 0.4, 0.4, 0.4, 0}, false},
		{[]float64{0, 0, 0, 0}, false},
		{nil, false},
	} {
		if got := flatTop(tt.x); got != tt.want {
			t.Errorf("%v: %v", tt.x, got)
		}
	}
}
