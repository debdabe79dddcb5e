package signal

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strconv"
	"testing"

	"saddlewise/fixtures/accuracy"
)

func sizeName(n int) string { return strconv.Itoa(n) }

func tone(n int, rateHz, hz, amplitude, phase float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Cos(2*math.Pi*hz*float64(i)/rateHz+phase)
	}
	return x
}

// H(f) = 1/(1 - j fc/f), in magnitude and phase, over the string band.
func TestHighPassEqualsRC(t *testing.T) {
	var off []float64
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		for _, corner := range []float64{2, 20, 80, 200} {
			worstDB, worstDegrees := 0.0, 0.0
			for _, hz := range []float64{5, 20, 41.2, 82.4, 440, 2000, 5000} {
				n := int(rate)
				x := tone(2*n, rate, hz, 1, 0)
				NewHighPass(rate, corner).Filter(x)
				got := SingleBin(x[n:], rate, hz, Hann(n)) / cmplx.Rect(1, 2*math.Pi*hz*float64(n)/rate)
				want := 1 / complex(1, -corner/hz)
				worstDB = math.Max(worstDB, math.Abs(AmplitudeToDB(cmplx.Abs(got)/cmplx.Abs(want))))
				worstDegrees = math.Max(worstDegrees, math.Abs(cmplx.Phase(got/want))*180/math.Pi)
			}
			off = append(off, worstDB)
			if worstDB > 0.001 || worstDegrees > 0.1 {
				t.Errorf("%g Hz corner at %g: %.4f dB, %.3f degrees", corner, rate, worstDB, worstDegrees)
			}
		}
	}
	accuracy.Report(t, accuracy.Row{Measure: "first-order high-pass", Range: "corners 2-200 Hz, 5 Hz-5 kHz, 44.1-192 kHz", Unit: "dB",
		Bound: "0.001", Source: "RC circuit, 1/(1 - j fc/f)"}, off)
}

// A step through an RC high-pass decays as exp(-2 pi fc t); a straight input
// ramp has an exact answer too, and blocks must not matter.
func TestHighPassInTime(t *testing.T) {
	const rate, corner = 48000.0, 120.0
	w := 2 * math.Pi * corner
	ramp := make([]float64, 5000)
	for i := range ramp {
		ramp[i] = float64(i) / rate
	}
	h := NewHighPass(rate, corner)
	h.Filter(ramp[:777])
	h.Filter(ramp[777:])
	for i, v := range ramp {
		near(t, "ramp", v*w, -math.Expm1(-w*float64(i)/rate), 1e-12)
	}
	same := noise(1, 10)
	kept := append([]float64(nil), same...)
	NewHighPass(rate, 0).Filter(same)
	for i := range same {
		near(t, "no corner", same[i], kept[i], 1e-12)
	}
}

func TestHeterodyne(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 4))
		rate := []float64{44100, 48000, 96000, 192000}[r.IntN(4)]
		half := 10 + 90*r.Float64()
		centre := 2*half + 3000*r.Float64()
		offset := half * (2*r.Float64() - 1)
		amplitude, phase := math.Pow(10, -2*r.Float64()), 2*math.Pi*r.Float64()
		n := int(rate * 0.8)
		b := Heterodyne(tone(n, rate, centre+offset, amplitude, phase), rate, centre, half)
		edge := int(b.EdgeS*b.RateHz) + 1
		for i := edge; i < len(b.Z)-edge; i++ {
			want := cmplx.Rect(amplitude, 2*math.Pi*offset*float64(i)/b.RateHz+phase)
			if cmplx.Abs(b.Z[i]-want) > 3e-4*amplitude {
				t.Fatalf("rate %g, %g%+g Hz, half %g: output %d is %v, want %v", rate, centre, offset, half, i, b.Z[i], want)
			}
		}
	}
}

func TestHeterodyneStopsNeighbours(t *testing.T) {
	const rate, centre, half = 48000.0, 220.0, 30.0
	for _, hz := range []float64{centre - 2*half, centre + 2*half, 50, 440, 1000, 9000} {
		b := Heterodyne(tone(48000, rate, hz, 1, 0.3), rate, centre, half)
		edge := int(b.EdgeS*b.RateHz) + 1
		for _, z := range b.Z[edge : len(b.Z)-edge] {
			if cmplx.Abs(z) > 1.1e-4 {
				t.Fatalf("%g Hz passes at %.1f dB", hz, AmplitudeToDB(cmplx.Abs(z)))
			}
		}
	}
}

func TestDecimate(t *testing.T) {
	const rate = 48000.0
	for _, factor := range []int{2, 3, 8, 25} {
		to := rate / float64(factor)
		pass := tone(20000, rate, 0.39*to, 1, 0.4)
		got := Decimate(pass, factor)
		if len(got) != (20000+factor-1)/factor {
			t.Fatalf("%d samples from 20000 by %d", len(got), factor)
		}
		for i := 17; i < len(got)-17; i++ {
			near(t, "kept", got[i], pass[i*factor], 2e-5)
		}
		stop := Decimate(tone(20000, rate, 0.61*to, 1, 0.4), factor)
		for i := 17; i < len(stop)-17; i++ {
			near(t, "stopped", stop[i], 0, 1.1e-5)
		}
	}
	if got := Decimate(nil, 4); len(got) != 0 {
		t.Errorf("nothing decimates to %v", got)
	}
}

func TestEnvelopeOfModulatedTone(t *testing.T) {
	const n, rate = 9973, 48000.0 // prime
	x := tone(n, rate, 1000, 1, 0)
	want := make([]float64, n)
	for i := range x {
		want[i] = 1 + 0.5*math.Sin(2*math.Pi*7*float64(i)/rate)
		x[i] *= want[i]
	}
	for i, v := range Envelope(x) {
		if i > n/10 && i < n-n/10 {
			near(t, "envelope", v, want[i], 0.01)
		}
	}
	if Envelope(nil) != nil {
		t.Error("an envelope of nothing")
	}
}

func BenchmarkHeterodyne(b *testing.B) {
	x := noise(1, 48000)
	b.SetBytes(8 * 48000)
	for b.Loop() {
		Heterodyne(x, 48000, 220, 30)
	}
}

func BenchmarkDecimate(b *testing.B) {
	x := noise(1, 48000)
	b.SetBytes(8 * 48000)
	for b.Loop() {
		Decimate(x, 8)
	}
}
