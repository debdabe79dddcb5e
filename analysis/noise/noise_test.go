package noise

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
)

func white(n int, rms float64, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 5))
	x := make([]float64, n)
	for i := range x {
		x[i] = rms * rng.NormFloat64()
	}
	return x
}

func addTone(x []float64, rateHz, hz, levelDBFS float64) {
	a := signal.DBToAmplitude(levelDBFS)
	for i := range x {
		x[i] += a * math.Sin(2*math.Pi*hz*float64(i)/rateHz)
	}
}

func mustMeasure(t *testing.T, x []float64, rateHz float64, o Options) Noise {
	t.Helper()
	n, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: rateHz}, o)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// White noise of density S reads S·19980 over 20 Hz to 20 kHz, and a
// one-third-octave band of it S times the band's width (IEC 61260-1: the band
// at 1 kHz is 230.8 Hz wide).
func TestWhiteNoiseByHand(t *testing.T) {
	n := mustMeasure(t, white(480000, 1e-3, 1), 48000, Options{})
	want := 10 * math.Log10(2*1e-6*19980/24000)
	if math.Abs(n.FloorDBFS.Median-want) > 0.05 {
		t.Errorf("floor %.3f dBFS, want %.3f", n.FloorDBFS.Median, want)
	}
	for _, b := range n.ThirdOctaves {
		if math.Abs(b.Band.MidHz-1000) > 1 {
			continue
		}
		if want := 10 * math.Log10(2*1e-6*230.768/24000); math.Abs(b.LevelDBFS-want) > 0.3 {
			t.Errorf("1 kHz band %.2f dBFS, want %.2f", b.LevelDBFS, want)
		}
	}
	if n.Hum != nil || len(n.Others) > 0 || n.ExcludedShare > 0 {
		t.Errorf("white noise holds %+v, %+v, share left out %g", n.Hum, n.Others, n.ExcludedShare)
	}
}

// A full-scale sine is 0 dBFS (AES17) wherever it falls between bins.
func TestSineReadsAES17(t *testing.T) {
	for _, hz := range []float64{996.5, 997, 997.31, 997.9, 998.4} {
		x := white(96000, 1e-6, 2)
		addTone(x, 48000, hz, 0)
		n := mustMeasure(t, x, 48000, Options{})
		if math.Abs(n.FloorDBFS.Median) > 0.01 || len(n.Others) != 1 || math.Abs(n.Others[0].LevelDBFS) > 0.01 || math.Abs(n.Others[0].Hz-hz) > 0.05 {
			t.Errorf("sine at %g Hz: floor %.4f dBFS, lines %+v", hz, n.FloorDBFS.Median, n.Others)
		}
	}
}

func TestTonesThatAreNotMains(t *testing.T) {
	cases := []struct {
		name  string
		tones []float64
		mains int // expected
	}{
		{"frame clock", []float64{1000}, 0},
		{"frame clock and multiples", []float64{1000, 2000, 3000, 8000}, 0},
		{"whine", []float64{8000}, 0},
		{"both 50 and 60 fit", []float64{300}, 0},
		{"between", []float64{55, 110, 165}, 0},
		{"second of 50", []float64{100}, 50},
		{"second of 60", []float64{120}, 60},
		{"odd of 50", []float64{50, 150, 250, 350}, 50},
		{"buzz of 60", []float64{120, 240, 360, 480, 600}, 60},
		{"rectifier of 50 and a whine", []float64{100, 200, 300, 8000}, 50},
	}
	for i, c := range cases {
		x := white(5*48000, 1e-4, uint64(i))
		for _, hz := range c.tones {
			addTone(x, 48000, hz, -80)
		}
		n := mustMeasure(t, x, 48000, Options{})
		got, lines := 0, len(n.Others)
		if n.Hum != nil {
			got, lines = n.Hum.NominalHz, lines+len(n.Hum.Lines)
		}
		if got != c.mains || lines != len(c.tones) {
			t.Errorf("%s: mains %d with %+v and others %+v, want mains %d", c.name, got, n.Hum, n.Others, c.mains)
		}
	}
}

func TestMainsGiven(t *testing.T) {
	x := white(5*48000, 1e-4, 3)
	addTone(x, 48000, 300.2, -80)
	if n := mustMeasure(t, x, 48000, Options{MainsHz: 60}); n.Hum == nil || n.Hum.NominalHz != 60 || n.Hum.Lines[0].Order != 5 {
		t.Errorf("a line at 300 Hz with mains known to be 60: %+v", n.Hum)
	}
	if n := mustMeasure(t, x, 48000, Options{MainsHz: 50}); n.Hum == nil || n.Hum.Lines[0].Order != 6 {
		t.Errorf("a line at 300 Hz with mains known to be 50: %+v", n.Hum)
	}
}

func TestOddAndEvenAddUp(t *testing.T) {
	x := white(10*48000, 1e-5, 4)
	for _, l := range []struct{ hz, level float64 }{{50, -60}, {100, -50}, {150, -70}} {
		addTone(x, 48000, l.hz, l.level)
	}
	h := mustMeasure(t, x, 48000, Options{}).Hum
	odd := 10 * math.Log10(math.Pow(10, -6)+math.Pow(10, -7))
	total := 10 * math.Log10(math.Pow(10, -6)+math.Pow(10, -7)+math.Pow(10, -5))
	if h == nil || math.Abs(h.OddDBFS-odd) > 0.05 || math.Abs(h.EvenDBFS+50) > 0.05 || math.Abs(h.TotalDBFS-total) > 0.05 {
		t.Errorf("hum %+v, want odd %.2f, even -50, total %.2f", h, odd, total)
	}
}

func TestHandlingIsLeftOut(t *testing.T) {
	quiet := white(10*48000, 1e-4, 6)
	want := mustMeasure(t, quiet, 48000, Options{})
	x := append([]float64(nil), quiet...)
	for i := range 4800 { // a thump that dies away over a tenth of a second
		x[3*48000+i] += 0.05 * math.Exp(-float64(i)/900) * math.Sin(2*math.Pi*90*float64(i)/48000)
	}
	x[7*48000] += 0.02 // a click of one sample
	got := mustMeasure(t, x, 48000, Options{})
	if got.ExcludedShare < 0.01 || got.ExcludedShare > 0.05 {
		t.Errorf("share left out %.3f", got.ExcludedShare)
	}
	if math.Abs(got.FloorDBFS.Median-want.FloorDBFS.Median) > 0.1 {
		t.Errorf("floor %.2f dBFS with handling, %.2f without", got.FloorDBFS.Median, want.FloorDBFS.Median)
	}
}

// Noise around the last bit of 16, with and without dither, is not handling.
func TestLastBitIsNotHandling(t *testing.T) {
	const lsb = 1.0 / 32768
	for _, rms := range []float64{0.25, 0.4, 0.7, 1.5} {
		for _, dither := range []float64{0, 1} {
			rng := rand.New(rand.NewPCG(12, uint64(100*rms)))
			x := white(6*48000, rms, uint64(100*rms))
			for i, v := range x {
				x[i] = lsb * math.Round(v+0.3+dither*(rng.Float64()-rng.Float64()))
			}
			if n := mustMeasure(t, x, 48000, Options{}); n.ExcludedShare > 0.02 || n.Hum != nil {
				t.Errorf("%g of the last bit, dither %g: %.1f %% left out, hum %+v", rms, dither, 100*n.ExcludedShare, n.Hum)
			}
		}
	}
}

func TestDriftWidensTheInterval(t *testing.T) {
	x := white(20*48000, 1e-4, 8)
	steady := mustMeasure(t, x, 48000, Options{}).FloorDBFS.Interval
	for i := range x {
		x[i] *= math.Pow(10, 3*float64(i)/float64(len(x))/20)
	}
	drifting := mustMeasure(t, x, 48000, Options{}).FloorDBFS.Interval
	if wide := drifting.High - drifting.Low; wide < 1 || wide < 5*(steady.High-steady.Low) {
		t.Errorf("3 dB of drift gives an interval of %.2f dB, none gives %.2f", wide, steady.High-steady.Low)
	}
}

func TestRefusals(t *testing.T) {
	bad := white(96000, 1e-3, 9)
	bad[500] = math.NaN()
	busy := white(96000, 1e-4, 9)
	for i := 0; i < len(busy); i += 9600 {
		busy[i] += 0.5
	}
	cases := []struct {
		name string
		x    []float64
		want error
	}{
		{"empty", nil, ErrTooShort},
		{"a tenth of a second", white(4800, 1e-3, 1), ErrTooShort},
		{"taps throughout", busy, ErrNotQuiet},
		{"not a number", bad, nil},
	}
	for _, c := range cases {
		_, err := Measure(context.Background(), signal.Memory{Samples: c.x, SampleRate: 48000}, Options{})
		if err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", c.name, err, c.want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Measure(ctx, signal.Memory{Samples: white(96000, 1, 1), SampleRate: 48000}, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestDigitalSilenceHasNoLevel(t *testing.T) {
	n := mustMeasure(t, make([]float64, 96000), 48000, Options{})
	if n.FloorDBFS.Median != signal.SilenceDB || n.Hum != nil || n.FloorDBFS.Interval != nil {
		t.Errorf("silence reads %+v, hum %+v", n.FloorDBFS, n.Hum)
	}
}

func TestPlotKeepsLinePeaks(t *testing.T) {
	x := white(10*192000, 1e-4, 10)
	addTone(x, 192000, 15000, -70)
	n := mustMeasure(t, x, 192000, Options{})
	top, last := math.Inf(-1), 0.0
	for _, p := range n.PSD {
		if p.Hz <= last {
			t.Fatalf("frequencies do not rise at %g Hz", p.Hz)
		}
		last = p.Hz
		if math.Abs(p.Hz-15000) < 2 {
			top = math.Max(top, p.DBFSPerHz)
		}
	}
	if len(n.PSD) > 2000 {
		t.Errorf("%d points to draw", len(n.PSD))
	}
	if want := -70 - 10*math.Log10(n.ResolutionHz); math.Abs(top-want) > 1.5 {
		t.Errorf("line drawn at %.1f dBFS per Hz, its peak is %.1f", top, want)
	}
}

func BenchmarkMeasure(b *testing.B) {
	x := white(10*48000, 1e-4, 11)
	addTone(x, 48000, 50, -60)
	src := signal.Memory{Samples: x, SampleRate: 48000}
	b.SetBytes(int64(8 * len(x)))
	for b.Loop() {
		if _, err := Measure(context.Background(), src, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
