package tone

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
)

// A fork is struck several times: each strike is found, with its level, decay
// and clang (6.2669 times the fundamental: clamped-free bar, Rayleigh).
func TestForkStruckThrice(t *testing.T) {
	const rate, hz, clang = 48000.0, 440.1, 440.1 * 6.266893026
	rng := rand.New(rand.NewPCG(1, 11))
	x := make([]float64, 16*int(rate))
	levels := []float64{0.2, 0.1, 0.25}
	for k, a := range levels {
		from := 0.7 + 5*float64(k)
		part := x[:min(len(x), int((from+4.6)*rate))]
		for i := range part[int(from*rate):] { // the fork is lifted, then set down again
			x[int(from*rate)+i] *= 0
		}
		add(part, rate, from, a, hz, 15, 1)
		add(part, rate, from, a*0.8, clang, 0.5, 0)
		add(part, rate, from, a*0.6, 2*hz, 10, 2)
		add(part, rate, from, a*2, 150, 0.1, 0) // the knock of setting it down
	}
	for i := range x {
		x[i] += 1e-4 * rng.NormFloat64()
	}
	got, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: rate}, Options{NominalHz: 440})
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Strikes) != 3 {
		t.Fatalf("%d strikes: %+v", len(got.Strikes), got.Strikes)
	}
	for k, s := range got.Strikes {
		from := s.FromS - (0.7 + 5*float64(k))
		mean := 10 * math.Log10((1-math.Pow(10, -6*1/15.0))/(6*math.Ln10/15))
		level := 20*math.Log10(levels[k]) - 60*from/15 + mean
		within(t, "level", s.LevelDBFS, level, 0.1)
		within(t, "T60", s.T60Seconds, 15, 0.1)
		within(t, "clang", s.ClangHz/s.Hz, 6.2669, 0.01)
		within(t, "Hz", s.Hz, hz, 0.001)
	}
	within(t, "ppm", got.OffsetPPM, 1e6*0.1/440, 1)
	within(t, "cents", got.OffsetCents, 1200*math.Log2(440.1/440), 0.002)
}

// Worked distortion: U1 = 1, U2 = 0.03, U3 = 0.04: THD_F 0.05, -26.0206 dB.
func TestWorkedTHD(t *testing.T) {
	x := make([]float64, 5*48000)
	add(x, 48000, 0, 0.5, 500, math.Inf(1), 0)
	add(x, 48000, 0, 0.015, 1000, math.Inf(1), 1)
	add(x, 48000, 0, 0.02, 1500, math.Inf(1), 2)
	addWhite(x, 1e-5)
	got, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: 48000}, Options{NominalHz: 500})
	if err != nil {
		t.Fatal(err)
	}
	s := got.Strikes[0]
	within(t, "THD", s.THDDB, -26.0206, 0.01)
	within(t, "THD per cent", s.THDPercent, 5, 0.005)
	// Relative to the total: THD_R.
	within(t, "THD+N", s.THDNDB, 20*math.Log10(0.049937617), 0.01)
	within(t, "level", s.LevelDBFS, -6.0206, 0.005)
	if !got.Steady || s.T60Seconds != 0 {
		t.Errorf("steady %v, T60 %v", got.Steady, s.T60Seconds)
	}
}

// White noise alone makes THD+N: a full-scale sine re noise of known power.
func TestNoiseInTHDN(t *testing.T) {
	for _, t60 := range []float64{math.Inf(1), 12} {
		x := make([]float64, 4*48000)
		add(x, 48000, 0, 1, 700, t60, 0)
		const sd = 1e-3
		addWhite(x, sd)
		got, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: 48000}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		s := got.Strikes[0]
		n := min(int((s.ToS-s.FromS)*48000), int(min(spectrumS, t60*spectrumOfT60)*48000))
		sp := newSpectrum(x[:n], 48000)
		power, norm := 0.0, 0.0
		for i := range n { // the tone's mean power under the windows
			w := sp.weight(float64(i))
			power += w * math.Exp(-6*math.Ln10*(s.FromS+float64(i)/48000)/t60) / 2
			norm += w
		}
		want := 10 * math.Log10(sd*sd*(20000-20)/24000/(power/norm))
		within(t, "THD+N", s.THDNDB, want, 0.2)
		if !s.THDMasked {
			t.Errorf("T60 %v: distortion of %.1f dB seen in noise: %+v", t60, s.THDDB, s.Harmonics)
		}
	}
}

func TestCannotTell(t *testing.T) {
	for name, x := range map[string][]float64{"empty": nil, "short": make([]float64, 1000), "silence": make([]float64, 96000)} {
		_, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: 48000}, Options{})
		if !errors.Is(err, ErrNoTone) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Measure(context.Background(), signal.Memory{SampleRate: 0}, Options{}); err == nil {
		t.Error("no sample rate: no error")
	}
	stop, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Measure(stop, signal.Memory{Samples: make([]float64, 96000), SampleRate: 48000}, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func addWhite(x []float64, sd float64) {
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range x {
		x[i] += sd * rng.NormFloat64()
	}
}

func within(t *testing.T, what string, got, want, by float64) {
	t.Helper()
	if !(math.Abs(got-want) <= by) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, by)
	}
}

// The clang mode is no distortion, however long it rings.
func TestClangIsNoDistortion(t *testing.T) {
	x := make([]float64, 5*48000)
	add(x, 48000, 0.5, 0.3, 440, 20, 0)
	add(x, 48000, 0.5, 0.1, 440*6.3, 8, 0)
	addWhite(x, 1e-5)
	got, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: 48000}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s := got.Strikes[0]
	if s.THDNDB > -70 || s.THDDB > -70 {
		t.Errorf("THD+N %.1f dB, THD %.1f dB", s.THDNDB, s.THDDB)
	}
	within(t, "clang", s.ClangHz, 440*6.3, 0.5)
	within(t, "clang level", s.ClangRelDB, 20*math.Log10(0.1/0.3), 1)
}

// What rings faintly after knocks is not a tone set on the saddle.
func TestRingAfterKnocks(t *testing.T) {
	x := make([]float64, 6*48000)
	for k := range 2 {
		add(x, 48000, 0.5+2.5*float64(k), 0.9, 3000, 0.02, 0)
		add(x, 48000, 0.5+2.5*float64(k), 0.004, 330, 6, 0)
	}
	addWhite(x, 1e-6)
	if got, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: 48000}, Options{}); !errors.Is(err, ErrNoTone) {
		t.Errorf("%v, %+v", err, got)
	}
}
