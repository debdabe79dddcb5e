package signal

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/mjibson/go-dsp/fft"
	"github.com/mjibson/go-dsp/spectral"
	dspwindow "github.com/mjibson/go-dsp/window"
	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"

	"saddlewise/fixtures/accuracy"
)

func noise(seed uint64, n int) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	return x
}

// Two independent transforms: odd, even, smooth and prime lengths.
func TestFFTEqualsIndependentFFT(t *testing.T) {
	lengths := []int{1, 3, 7, 97, 194, 375}
	for n := 2; n <= 1300; n = FastLength(n + 1) {
		lengths = append(lengths, n)
	}
	for _, n := range append(lengths, 15360, 16384, 32400) {
		x := noise(uint64(n), n)
		f := NewFFT(n)
		got, want := f.Forward(nil, x), fft.FFTReal(x)
		for k := range got {
			if cmplx.Abs(got[k]-want[k]) > 1e-10*float64(n) {
				t.Fatalf("n=%d bin %d: got %v, want %v", n, k, got[k], want[k])
			}
		}
		for i, v := range f.Inverse(nil, got) {
			near(t, "inverse", v, x[i], 1e-12)
		}
	}
}

// go-dsp's Welch estimate without overlap and detrending is an independent
// implementation; it takes the symmetric window, handed over here as periodic.
func TestWelchEqualsIndependentWelch(t *testing.T) {
	const n, rate = 256, 8000.0
	x := noise(3, 10*n)
	own := Hann(n)
	p, hz := spectral.Pwelch(x, rate, &spectral.PwelchOptions{NFFT: n, Noverlap: n / 2,
		Window: func(m int) []float64 { return dspwindow.Hann(m + 1)[:m] }})
	w := NewWelch(rate, own, nil)
	w.KeepMean = true
	w.Add(x)
	got, err := w.PSD()
	if err != nil {
		t.Fatal(err)
	}
	for k := range p {
		near(t, "frequency", got.Hz(k), hz[k], 1e-9)
		near(t, "density", got.Power[k]/p[k], 1, 1e-9)
	}
}

// Parseval: the density integrates to the power of what the window let through.
func TestPSDIntegratesToPower(t *testing.T) {
	var off []float64
	for seed := range uint64(accuracy.Cases(40, 500)) {
		r := rand.New(rand.NewPCG(seed, 2))
		n, rate := 16+r.IntN(300), []float64{44100, 48000, 96000, 192000}[r.IntN(4)]
		x := noise(seed, n*(1+r.IntN(4)))
		for _, win := range []Window{Rectangular(n), Hann(n), FlatTop(n), BlackmanHarris(n)} {
			w := NewWelch(rate, win, nil)
			w.KeepMean = true
			w.Add(x)
			p, err := w.PSD()
			if err != nil {
				t.Fatal(err)
			}
			sum, segments := 0.0, 0
			for first := 0; first+n <= len(x); first += n - n/2 {
				for i, c := range win.Coefficients {
					sum += x[first+i] * x[first+i] * c * c / (win.PowerGain * float64(n))
				}
				segments++
			}
			if segments != p.Segments {
				t.Fatalf("%d segments, want %d", p.Segments, segments)
			}
			off = append(off, p.Band(0, rate)/(sum/float64(segments))-1)
			near(t, win.Name, p.Band(0, rate)/(sum/float64(segments)), 1, 1e-9)
		}
	}
	accuracy.Report(t, accuracy.Row{Measure: "power from the spectral density", Range: "four windows, 16-316 samples a segment, 44.1-192 kHz",
		Unit: "of the power", Bound: "1e-9", Source: "Parseval's theorem"}, off)
}

// Lines on bins: the integral is their power exactly, whatever the window.
func TestPSDOfLines(t *testing.T) {
	const n, rate = 1024, 48000.0
	x := make([]float64, 10*n)
	for i := range x {
		at := 2 * math.Pi * float64(i) / n
		x[i] = 0.3*math.Cos(40*at+1) + 0.01*math.Sin(97*at) + 0.2
	}
	for _, win := range []Window{Hann(n), BlackmanHarris(n), FlatTop(n)} {
		w := NewWelch(rate, win, nil)
		w.Add(x)
		p, _ := w.PSD()
		near(t, win.Name+" all", p.Band(0, rate), 0.045+0.00005, 1e-9)
		near(t, win.Name+" strong line", p.Band(30*p.StepHz, 50*p.StepHz), 0.045, 1e-9)
	}
}

// Windowing by frequency equals windowing by time and the independent transform.
func TestHannPowerEqualsWindowedTransform(t *testing.T) {
	for _, n := range []int{2, 3, 4, 5, 9, 64, 375, 1296} {
		x := noise(uint64(n), n)
		m := Sum(x) / float64(len(x))
		w := make([]float64, n)
		for i, c := range Hann(n).Coefficients {
			w[i] = (x[i] - m) * c
			x[i] += 0.5
		}
		want := fft.FFTReal(w)
		for k, got := range HannPower(x) {
			sides := 2.0
			if k == 0 || 2*k == n {
				sides = 1
			}
			a := cmplx.Abs(want[k])
			near(t, fmt.Sprintf("n=%d bin %d", n, k), got, sides*a*a/(0.375*float64(n)*float64(n)), 1e-12)
		}
	}
}

// The longest and so least exact transforms by phasors that turn on, against
// the library's with exact ones.
func TestQuickTransformIsExact(t *testing.T) {
	for n := 4; n <= longestQuick; n *= 2 {
		x := noise(uint64(n), n)
		got, want := Transform(x), fourier.NewFFT(n).Coefficients(nil, x)
		strongest, off := 0.0, 0.0
		for k := range want {
			strongest, off = max(strongest, cmplx.Abs(want[k])), max(off, cmplx.Abs(got[k]-want[k]))
		}
		if off > 1e-12*strongest {
			t.Errorf("%d samples: %.2g off where the strongest is %.2g", n, off, strongest)
		}
	}
}

func TestInPlaceEqualsIndependentFFT(t *testing.T) {
	for n := 1; n <= 1024; n *= 2 {
		re, im := noise(uint64(n), n), noise(uint64(n)+1, n)
		z := make([]complex128, n)
		for i := range z {
			z[i] = complex(re[i], im[i])
		}
		want := fft.FFT(slices.Clone(z))
		for k, got := range InPlace(z) {
			if cmplx.Abs(got-want[k]) > 1e-10*float64(n) {
				t.Fatalf("n=%d bin %d: got %v, want %v", n, k, got, want[k])
			}
		}
	}
}

func TestPSDBandsShareBins(t *testing.T) {
	p := PSD{StepHz: 10, Power: []float64{1, 1, 1, 1, 1, 1}} // bins at 0 to 50 Hz
	near(t, "whole", p.Band(0, 1000), 60, 1e-12)
	near(t, "part of a bin", p.Band(21, 23), 2, 1e-12)
	near(t, "half of the first", p.Band(0, 2.5), 5, 1e-12)
	near(t, "across", p.Band(12, 31), 19, 1e-12)
	near(t, "none", p.Band(200, 300), 0, 0)
	bands := FractionalOctaves(3, 10, 40)
	sum := 0.0
	for _, v := range p.Bands(bands) {
		sum += v
	}
	near(t, "bands tile", sum, p.Band(bands[0].LowHz, bands[len(bands)-1].HighHz), 1e-12)
	near(t, "weighted", p.Weighted(20, 30, func(float64) float64 { return -3 }), 10*math.Pow(10, -0.3), 1e-12)
}

// A loud burst in one segment of forty must not move the robust spectrum.
func TestRobustWelchIgnoresBursts(t *testing.T) {
	const n, rate, segments = 256, 8000.0, 500
	x := noise(5, n/2*(segments+1))
	clean, burst := NewWelch(rate, Hann(n), nil), NewWelch(rate, Hann(n), nil)
	burst.Robust = true
	clean.Add(x)
	for i := range x {
		if (i/n)%37 == 5 {
			x[i] *= 100
		}
	}
	burst.Add(x)
	a, _ := clean.PSD()
	b, _ := burst.PSD()
	if got := len(burst.kept); got > robustKept || got < robustKept/2 {
		t.Errorf("%d periodograms kept", got)
	}
	near(t, "level beside the burst", PowerToDB(b.Band(100, 3900)/a.Band(100, 3900)), 0, 0.5)
}

// Of many segments every 8th is kept here: 320 segments, 64 at most, halved
// whenever full.
func TestRobustWelchKeepsEvenly(t *testing.T) {
	const n = 32
	var all [][]float64
	w := NewWelch(1000, Hann(n), func(_ int, p []float64) bool {
		all = append(all, slices.Clone(p))
		return true
	})
	w.Robust = true
	w.Add(noise(8, n/2*321))
	if len(all) != 320 || w.stride != 8 || len(w.kept) != 40 {
		t.Fatalf("%d segments, every %d, %d kept", len(all), w.stride, len(w.kept))
	}
	for i, p := range w.kept {
		if !slices.Equal(p, all[8*i]) {
			t.Errorf("kept %d is not segment %d", i, 8*i)
		}
	}
}

func TestWelchSkipsWhatEachRefuses(t *testing.T) {
	const n = 64
	x := noise(6, n*10)
	var seen []int
	w := NewWelch(8000, Hann(n), func(i int, p []float64) bool {
		seen = append(seen, i)
		return i%2 == 0
	})
	w.Add(x)
	p, err := w.PSD()
	if err != nil || p.Segments != 10 || len(seen) != 19 || seen[18] != 18 {
		t.Errorf("%d of %d segments, last %v, %v", p.Segments, len(seen), seen, err)
	}
	short := NewWelch(8000, Hann(n), nil)
	short.Add(x[:n-1])
	if _, err := short.PSD(); err == nil {
		t.Error("less than a segment gave a spectrum")
	}
}

func TestFastLength(t *testing.T) {
	for _, c := range [][2]int{{0, 2}, {1, 2}, {7, 8}, {11, 12}, {97, 100}, {1025, 1080}, {48000, 48000}, {44101, 45000}} {
		if got := FastLength(c[0]); got != c[1] {
			t.Errorf("FastLength(%d) = %d, want %d", c[0], got, c[1])
		}
	}
}

func BenchmarkFFT(b *testing.B) {
	for _, n := range []int{1296, 8192, 16384, 32768, 65536, 72000, 131072} {
		b.Run(sizeName(n), func(b *testing.B) {
			f, x, dst := NewFFT(n), noise(1, n), make([]complex128, n/2+1)
			for b.Loop() {
				f.Forward(dst, x)
			}
		})
	}
}

func BenchmarkWelch(b *testing.B) {
	x := noise(1, 48000)
	b.SetBytes(8 * 48000)
	for b.Loop() {
		w := NewWelch(48000, Hann(8192), nil)
		w.Add(x)
	}
}

// TestTransformManyAtOnce holds borrowed plans against a plan of their own, of
// lengths that are powers of two and of others.
func TestTransformManyAtOnce(t *testing.T) {
	var g errgroup.Group
	for k := range 64 {
		g.Go(func() error {
			x := make([]float64, []int{64, 90, 110, 120, 128}[k%5])
			rng := rand.New(rand.NewPCG(8, uint64(k)))
			for i := range x {
				x[i] = rng.NormFloat64()
			}
			for range 20 {
				if got, want := Transform(x), NewFFT(len(x)).Forward(nil, x); !slices.Equal(got, want) {
					return fmt.Errorf("transform %d of %d samples differs", k, len(x))
				}
			}
			var want []float64
			for _, c := range Transform(x) {
				want = append(want, real(c)*real(c)+imag(c)*imag(c))
			}
			if got := Energies(nil, x); !slices.Equal(got, want) {
				return fmt.Errorf("energies %d of %d samples differ", k, len(x))
			}
			if got := Energies(x, x); !slices.Equal(got, want) || &got[0] != &x[0] {
				return fmt.Errorf("energies %d of %d samples differ in their own place", k, len(x))
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		t.Error(err)
	}
}

func TestFastLengths(t *testing.T) {
	for n, want := range map[int][2]int{1: {0, 2}, 7: {6, 8}, 1249: {1200, 1250}, 1250: {1250, 1250}, 1301: {1296, 1350}} {
		if got := [2]int{FastBelow(n), FastLength(n)}; got != want {
			t.Errorf("fast lengths about %d: %v, want %v", n, got, want)
		}
	}
	if FastBelow(0) != 0 || FastBelow(-3) != 0 {
		t.Error("a fast length below 1")
	}
}

// A sum is the same to the last digit wherever in memory its values stand.
func TestSumDoesNotDependOnPlace(t *testing.T) {
	room := make([]float64, 1003)
	for n := range 1000 {
		x := noise(uint64(n), n)
		want := Sum(x)
		near(t, "sum", want, floats.Sum(x), 1e-10)
		for at := range 4 {
			y := room[at : at+n]
			copy(y, x)
			if got := Sum(y); got != want {
				t.Fatalf("%d values from place %d on: %v, want %v", n, at, got, want)
			}
		}
	}
}

func TestPowersOfTwo(t *testing.T) {
	for n, want := range map[int][2]int{-1: {1, 1}, 0: {1, 1}, 1: {1, 1}, 2: {2, 2}, 3: {4, 2}, 4: {4, 4}, 1000: {1024, 512}, 1024: {1024, 1024}, 1025: {2048, 1024}} {
		if got := [2]int{PowerOfTwo(n), PowerOfTwoWithin(n)}; got != want {
			t.Errorf("powers of two about %d: %v, want %v", n, got, want)
		}
	}
}
